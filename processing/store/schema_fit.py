"""Layers of survey.gpkg on how well areas fit: ties and other observations, error ellipses, seams, walls."""

from ..common.language import tr
from .schema_scans import AREA_ID, PLANE
from .table_schema import Field, Table, flags, numbers, texts

ENLARGEMENT = 50.0
_CAUTION = tr("This says nothing about what is cast in; it says how well the areas fit together.")
_TWO_AREAS = texts(area_id="one area", area_id_b="the other area")

TIES = Table(
    "ties",
    "Point",
    tr(
        "What besides control points fixes the areas: ties between two areas (given, or a straight item that "
        "both see), known directions, taped distances. Residuals are fitted minus observed; across an item "
        "there is one, for a point two."
    ),
    (
        *texts(
            tie_id="name of the observation",
            kind="what was observed",
            source="table: a tie that was given; items: proposed from items that both areas see; survey: any other",
        ),
        *_TWO_AREAS,
        *PLANE,
        Field("unit", str, "unit of residuals and sigma", ("m", "rad")),
        *numbers(
            residual="fitted minus observed",
            residual_y="the same along site y, for a tie at a point",
            sigma="1-sigma of the observation",
            standardized="the larger residual over its own sigma",
            redundancy="share of an error that its residual shows, 0 to 1",
            detectable="smallest error that the test finds",
        ),
        *flags(used="whether it takes part in the fit"),
    ),
    _CAUTION,
)
ERROR_ELLIPSES = Table(
    "error_ellipses",
    "Polygon",
    tr(
        "Ellipses that contain the true position of an area's corners and of its best-known point with 95 % "
        "probability, drawn {enlargement:.0f} times enlarged; semi-axes in true size. From the fit alone.",
        enlargement=ENLARGEMENT,
    ),
    (
        *(AREA_ID, *PLANE),
        *numbers(
            semi_major_m="larger semi-axis in true size, metres",
            semi_minor_m="smaller semi-axis in true size, metres",
            direction_deg="direction of the larger one from site x, anticlockwise, degrees",
            sigma_xy_m="1-sigma of the place, metres",
            enlargement="how many times it is drawn enlarged",
        ),
    ),
    _CAUTION,
)
SEAMS = Table(
    "seams",
    "LineString",
    tr(
        "Items that two overlapping areas both see: offset of the second area's from the first one's, across "
        "the item (to the left of the line's direction) and in depth, with the sigma that is expected of it."
    ),
    (
        *_TWO_AREAS,
        *texts(item_id="item of the one area, of the table area_items", item_id_b="item of the other area"),
        *PLANE,
        *numbers(
            lateral_m="offset across, metres",
            sigma_lateral_m="expected 1-sigma of it, metres",
            lateral_ratio="offset over that",
            depth_offset_m="offset in depth, metres",
            sigma_depth_m="expected 1-sigma of it, metres",
            depth_ratio="offset over that",
        ),
        *flags(agrees="whether both are as small as expected"),
    ),
    _CAUTION,
)
WALLS = Table(
    "walls",
    "LineString",
    tr(
        "Walls in plan, and on them the stretches that were scanned (with an area_id). What was found there lies on "
        "the wall's elevation, whose x is measured along the wall from its start and whose y upwards."
    ),
    (
        *PLANE,
        *texts(wall="name of the wall", elevation="level under which the wall's elevation stands"),
        AREA_ID,
        *numbers(
            along_min_m="where the scanned stretch begins, metres along the wall",
            along_max_m="where it ends, metres along the wall",
            height_min_m="its lower edge, metres",
            height_max_m="its upper edge, metres",
        ),
    ),
    _CAUTION,
)
