"""What is handed to the one who drills."""

from typing import List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common import cautions
from ..common.language import tr
from ..common.monitor import Monitor
from ..penetrations.drill_sheet import GridAxis, sheet_entry
from ..penetrations.model import Confidence, KindRule, Penetrations
from ..store.layer import Layer
from .shared.verdict_layers import VERDICT_FIELDS, check_by_plane, draw_sections, write_layers

SHEET_LAYER = "drill_sheet"


SHEET_FIELDS = {
    **dict.fromkeys(("penetration_id", "level", "surface"), str),
    **dict.fromkeys(("x_m", "y_m", "diameter_m", "depth_m", "tolerance_m", "azimuth_deg", "tilt_deg"), float),
    **dict.fromkeys(("axis_1", "axis_1_side", "axis_2", "axis_2_side"), str),
    **dict.fromkeys(("axis_1_offset_m", "axis_2_offset_m", "clear_to_m", "slab_thickness_m"), float),
    "nearest_items": str,
    **VERDICT_FIELDS,
    "cautions": str,
}


def drill_sheet_step(
    survey_path,
    holes: Penetrations,
    sides: Sequence[Tuple[str, Optional[str]]],
    sections_folder,
    rules: Mapping[str, KindRule],
    axes: Sequence[GridAxis] = (),
    confidence: Confidence = Confidence(),
    monitor: Monitor = Monitor(),
) -> List[Mapping]:
    """Checks penetrations and draws their sections into `sections_folder`; returns what each drill sheet says.

    A row holds the columns of `SHEET_FIELDS` and, under the key ``section``, the path of the picture.
    """
    confidence.check()
    verdicts, grounds = check_by_plane(survey_path, holes, sides, rules, confidence, monitor.part(0.0, 0.3))
    # PNG, because Qt's reader of SVG knows neither clipping nor hatching.
    sections = draw_sections(sections_folder, holes, verdicts, grounds, confidence, monitor.part(0.3, 0.7), ".png")
    rows = []
    for i, (verdict, ground) in enumerate(zip(verdicts, grounds)):
        monitor.step(0.7 + 0.25 * i / len(holes))
        entry = sheet_entry(holes.subset([i]), ground.pieces, ground.known, rules, confidence, axes)
        values = {
            "penetration_id": holes.ids[i],
            "level": ground.level,
            "surface": ground.surface,
            "x_m": holes.entry_m[i, 0],
            "y_m": holes.entry_m[i, 1],
            **{name: getattr(holes, name)[i] for name in ("diameter_m", "depth_m", "tolerance_m")},
            "azimuth_deg": np.degrees(holes.azimuth_rad[i]),
            "tilt_deg": np.degrees(holes.tilt_rad[i]),
            "clear_to_m": entry.clear_to_m,
            "slab_thickness_m": entry.thickness_m,
            "nearest_items": "; ".join(map(str, entry.near)) or tr("no item is known nearby"),
            **{name: getattr(verdict, name) for name in VERDICT_FIELDS},
            "cautions": cautions.SHORT,
        }
        for number, offset in enumerate(entry.offsets, 1):
            values[f"axis_{number}"], values[f"axis_{number}_side"] = offset.name, offset.side
            values[f"axis_{number}_offset_m"] = offset.offset_m
        rows.append(values)
    monitor.step(1.0)
    return [{**row, "section": section} for row, section in zip(rows, sections)]


def write_sheet_table(output_path, rows: Sequence[Mapping], survey_path) -> None:
    """Writes the rows of `drill_sheet_step` as the layer `drill_sheet` (points, on the survey's site grid) into `output_path`."""
    table = [
        ((row["x_m"], row["y_m"]), {key: value for key, value in row.items() if key in SHEET_FIELDS}) for row in rows
    ]
    write_layers(
        output_path,
        [Layer(SHEET_LAYER, "Point", SHEET_FIELDS, table, tr("Drill sheet. {short}", short=cautions.SHORT))],
        survey_path,
    )
