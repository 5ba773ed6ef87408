"""Layers of survey.gpkg on what is cast in: items and picks, what each area for itself shows of them, what was edited by hand."""

from ..common import cautions
from ..common.language import tr
from ..common.vocabulary.kinds import KINDS
from ..common.vocabulary.statuses import ITEM_STATUSES
from ..floor.edited_rows import COMPUTED, SURVEYOR
from .schema_scans import AREA_ID, DEPTHS_AND_CAUTIONS, PLANE
from .table_schema import Field, Table, counts, numbers, texts

_SOURCE = Field("source", str, "whose row it is: a surveyor drew or changed it, or nobody did", (COMPUTED, SURVEYOR))
_KIND = Field("kind", str, "most probable kind", tuple(KINDS))
_DEPTH_RANGE = numbers(
    depth_min_m="least depth to its top below the scanned surface, metres",
    depth_max_m="greatest depth to its top, metres",
)
# A column for each kind. A kind that joins the table of kinds later is missing in files made before, and was not thought of there.
PROBABILITIES = tuple(
    Field(
        f"p_{kind}",
        float,
        f"probability that it is of the kind {kind}, 0 to 1; 0 in a table without this column, where nobody thought of that kind",
        absent=0.0,
    )
    for kind in KINDS
)
_LENGTH = numbers(length_m="length in plan and depth, metres")

PICKS = Table(
    "picks",
    "PointZ",
    tr("Where an item was seen on one line."),
    (
        *texts(
            pick_id="name of the pick",
            item_id="item that it belongs to, of the layer items",
            area_item_id="item that it belongs to, of the table area_items",
        ),
        AREA_ID,
        *texts(line_id="scan line that shows it"),
        *PLANE,
        *numbers(
            depth_m="depth to the item's top, metres",
            sigma_xy_m="1-sigma in plan, the fit to the site grid included, metres",
            sigma_along_m="1-sigma along the line, without that fit, metres",
            sigma_depth_m="1-sigma of its depth, the wave speed included, metres",
        ),
        *counts(polarity="sign of the main extremum of the echo: -1 for metal and water, 1 for an air-filled void"),
        *numbers(
            strength_db="strength of the echo over the noise, dB",
            polarization_ratio_db="amplitude with dipoles along the line over that with dipoles across it, dB",
            local_x_m="x in the area's local grid, metres",
            local_y_m="y in the area's local grid, metres",
        ),
        _SOURCE,
    ),
    DEPTHS_AND_CAUTIONS,
)
ITEMS = Table(
    "items",
    "LineStringZ",
    tr("Items found; Z is minus the depth to the top."),
    (
        *texts(item_id="name of the item; may change when the survey is processed again"),
        _KIND,
        *numbers(
            kind_confidence="probability of that kind, 0 to 1",
            confidence="probability that there is an object here at all, 0 to 1",
        ),
        *_DEPTH_RANGE,
        *numbers(
            sigma_xy_m="1-sigma across it in plan, the fit to the site grid included, metres",
            sigma_depth_m="1-sigma of its depth, the wave speed included, metres",
        ),
        *counts(pick_count="number of scan lines that show it"),
        *texts(area_ids="scan areas that see it, separated by commas"),
        *PLANE,
        Field("status", str, "what is known of it", ITEM_STATUSES),
        _SOURCE,
        *PROBABILITIES,
        *_LENGTH,
        *numbers(
            other_face_min_m="least distance of its top from the other face of the slab, metres",
            other_face_max_m="greatest distance of its top from the other face, metres",
            sigma_other_face_m="1-sigma of that distance, metres",
        ),
        *texts(
            reasons="why this kind, in words",
            flag="what a person must check, in words; empty where nothing is doubtful",
            local_geometry="course in the area's own grid (WKT), where the area has no position on the site grid",
        ),
    ),
    DEPTHS_AND_CAUTIONS,
)
BRIDGED = Table(
    "bridged",
    "LineStringZ",
    tr("Stretches of items that no line saw: interpolated, not observed."),
    (
        *texts(item_id="item of the layer items"),
        *PLANE,
        *_LENGTH,
        *_DEPTH_RANGE,
        *numbers(sigma_depth_m="1-sigma of the item's depth where it was seen, metres"),
    ),
    cautions.SHORT,
)
AREA_ITEMS = Table(
    "area_items",
    None,
    tr("Items of each area before they were joined; vertices are local x, y and depth, metres."),
    (
        *texts(item_id="name of the item in its area"),
        AREA_ID,
        *numbers(
            confidence="probability that there is an object here at all, 0 to 1",
            sigma_xy_m="1-sigma across it in plan, in the local grid, metres",
            sigma_depth_m="1-sigma of its depth, metres",
        ),
        *counts(pick_count="number of scan lines that show it"),
        *texts(
            reasons="why this kind, in words",
            kind_probabilities="probability of each kind (JSON); 0 for a kind that is missing",
            vertices_m="its vertices (JSON)",
        ),
    ),
)
AREA_DEPTHS = Table(
    "area_depths",
    None,
    tr("Depth to which each area counts as scanned, and slab thickness where it is known."),
    (
        AREA_ID,
        *numbers(
            reliable_m="depth to which it counts as scanned, metres",
            thickness_m="slab thickness, metres, where it is known",
            sigma_thickness_m="its 1-sigma, metres",
        ),
        *texts(shallow_cells="squares that are seen less deep: local x and y of two corners, and depth, metres (JSON)"),
    ),
)
MATS = Table(
    "mats",
    None,
    tr(
        "Families of at least three parallel bars. Spacing is measured between the bars' lines every 50 mm along "
        "the mat, a lap counting as one bar. Cover is the depth from the scanned surface to the top of the bars, "
        "every 50 mm along each: mean, least, and what 5 % of the bars' length falls below. Bars that were not "
        "found are missing here too."
    ),
    (
        *texts(mat_id="name of the mat"),
        *PLANE,
        *texts(area_ids="scan areas, separated by commas"),
        *counts(bar_count="number of bars"),
        *numbers(
            direction_deg="direction of the bars from site x, anticlockwise, degrees",
            spacing_mean_m="mean spacing, metres",
            spacing_min_m="least spacing, metres",
            spacing_max_m="largest spacing, metres",
            sigma_spacing_m="1-sigma of one spacing, metres",
            cover_mean_m="mean cover, metres",
            cover_min_m="least cover, metres",
            cover_q05_m="cover that 5 % of the bars' length falls below, metres",
            sigma_cover_m="1-sigma of the depths, mostly common to all bars of an area, metres",
            length_m="length of all its bars together, metres",
        ),
        *texts(item_ids="items that belong to it, separated by commas"),
    ),
)

_WRITTEN = (
    Field("layer", str, "layer that the row belongs to", (ITEMS.name, PICKS.name)),
    *texts(
        row_id="name of the item or pick",
        area_id="scan area",
        line_id="scan line of a pick",
        kind="kind of an item",
        vertices_m="course or place: x, y and depth (JSON)",
    ),
)
DISMISSED = Table(
    "dismissed",
    None,
    tr(
        "Computed items and picks that a surveyor deleted, or changed (then 'instead' names the row in their "
        "place). Runs do not bring them back; delete a row here to let it come back. A deleted object is not "
        "proven to be absent."
    ),
    (*_WRITTEN, *texts(instead="the surveyor's row in its place; empty where it was deleted")),
)
LAST_WRITTEN = Table(
    "last_written",
    None,
    tr("Items and picks as they were last written, to tell what has been edited by hand since. Do not edit."),
    (*_WRITTEN, _SOURCE, *texts(fingerprint="fingerprint of the row's values and vertices")),
)
