"""Layers on planned penetrations and chases. They stand in a file of their own, or in survey.gpkg where a person chooses that."""

from typing import Mapping

from ..common import cautions
from ..common.language import tr
from ..common.vocabulary.verdicts import VERDICTS
from .schema_scans import PLANE
from .table_schema import Field, Table, counts, numbers, texts

_NAME = texts(penetration_id="name of the hole")
_SIZES = numbers(
    diameter_m="diameter, metres",
    depth_m="depth, metres",
    tolerance_m="1-sigma of setting out, metres",
    azimuth_deg="direction in plan towards which an inclined hole leans, clockwise from site y, degrees",
    tilt_deg="its angle from the perpendicular to the surface, degrees",
)
_VERDICT = (
    Field("verdict", str, "what the check says of the hole", tuple(VERDICTS)),
    *texts(governing_item="item that leaves the least room"),
    *numbers(
        margin_m="room to that item beyond the keep-out distance, metres",
        sigma_margin_m="its 1-sigma, metres",
        touch_probability="probability of touching any known item",
    ),
    *texts(reason="why, in words"),
)
# What a check adds to the columns of the table that it was given.
VERDICT_FIELDS: Mapping[str, type] = {field.name: field.kind for field in _VERDICT}

PENETRATION_VERDICTS = Table(
    "penetration_verdicts",
    "Point",
    tr("Verdicts on planned penetrations."),
    (*_NAME, *_SIZES, *PLANE, *texts(section="picture of the section through the hole"), *_VERDICT),
    cautions.SHORT,
)
_MOVED = (
    *texts(pattern_id="holes with the same text are one rigid pattern"),
    *counts(rank="1 for the nearest place, 2 for the next; 0: there is none"),
    *numbers(
        moved_m="how far the hole was moved, metres",
        shift_x_m="along site x, metres",
        shift_y_m="along site y, metres",
        turn_deg="how far the pattern was turned, anticlockwise, degrees",
    ),
    *_VERDICT,
)
# What placing adds to the columns of the table that it was given.
PLACE_FIELDS: Mapping[str, type] = {field.name: field.kind for field in _MOVED}

PENETRATION_PLACES = Table(
    "penetration_places",
    "Point",
    tr("Places for planned penetrations; rank 1 is the nearest, rank 0 means that there is none."),
    (*_NAME, *_SIZES, *_MOVED),
    cautions.SHORT,
)
CHASES = Table(
    "chases",
    "LineString",
    tr("Chases between two points, with what they cross."),
    (
        *PLANE,
        *numbers(depth_m="depth, metres", width_m="width, metres", length_m="length, metres"),
        *counts(bend_count="number of bends"),
        *texts(
            crossed_items="items that it cuts, separated by commas",
            too_close_items="items that it comes too close to, separated by commas",
            reason="what it does, in words",
        ),
    ),
    cautions.SHORT,
)
_X_Y = numbers(x_m="site x of its middle at the surface, metres", y_m="site y of it, metres")
DRILL_SHEET = Table(
    "drill_sheet",
    "Point",
    tr("Drill sheet."),
    (
        *_NAME,
        *PLANE,
        *_X_Y,
        *_SIZES,
        *texts(
            axis_1="nearest axis of the building",
            axis_1_side="side of that axis on which it lies",
            axis_2="nearest axis that crosses it",
            axis_2_side="side of that axis on which it lies",
        ),
        *numbers(
            axis_1_offset_m="square distance from the first axis, metres",
            axis_2_offset_m="square distance from the second axis, metres",
            clear_to_m="depth to which a hole of this diameter is clear, metres",
            slab_thickness_m="slab thickness there, metres, where it is known",
        ),
        *texts(nearest_items="what is nearest, in words"),
        *_VERDICT,
        *texts(cautions="what holds for every hole"),
    ),
    cautions.SHORT,
)
