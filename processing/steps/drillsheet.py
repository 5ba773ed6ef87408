"""What is handed to the one who drills."""

from typing import List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common import cautions
from ..common.language import tr
from ..common.monitor import Monitor
from ..penetrations.drill_sheet import GridAxis, sheet_entry
from ..penetrations.ground import read_tables
from ..penetrations.model import Confidence, KindRule, Penetrations
from ..store.layer import layer_of
from ..store.reading import read_crs_wkt
from ..store.schema import DRILL_SHEET, PENETRATION_VERDICTS
from ..store.schema_penetrations import VERDICT_FIELDS
from .shared.verdict_layers import check_by_plane, draw_sections, write_layers


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

    A row holds the columns of `drill_sheet` and, under the key ``section``, the path of the picture.
    """
    confidence.check()
    verdicts, grounds = check_by_plane(
        read_tables(survey_path), holes, sides, rules, confidence, monitor.part(0.0, 0.3)
    )
    # PNG, because Qt's reader of SVG knows neither clipping nor hatching.
    sections = draw_sections(sections_folder, holes, verdicts, grounds, confidence, monitor.part(0.3, 0.7), ".png")
    rows = []
    for i, (verdict, ground) in enumerate(zip(verdicts, grounds)):
        monitor.step(0.7 + 0.25 * i / len(holes))
        entry = sheet_entry(holes.subset([i]), ground.pieces, ground.known, rules, confidence, axes)
        values = {
            DRILL_SHEET.penetration_id: holes.ids[i],
            DRILL_SHEET.level: ground.level,
            DRILL_SHEET.surface: ground.surface,
            DRILL_SHEET.x_m: holes.entry_m[i, 0],
            DRILL_SHEET.y_m: holes.entry_m[i, 1],
            **{
                name: getattr(holes, name)[i]
                for name in (DRILL_SHEET.diameter_m, DRILL_SHEET.depth_m, DRILL_SHEET.tolerance_m)
            },
            DRILL_SHEET.azimuth_deg: np.degrees(holes.azimuth_rad[i]),
            DRILL_SHEET.tilt_deg: np.degrees(holes.tilt_rad[i]),
            DRILL_SHEET.clear_to_m: entry.clear_to_m,
            DRILL_SHEET.slab_thickness_m: entry.thickness_m,
            DRILL_SHEET.nearest_items: "; ".join(map(str, entry.near)) or tr("no item is known nearby"),
            **{name: getattr(verdict, name) for name in VERDICT_FIELDS},
            DRILL_SHEET.cautions: cautions.SHORT,
        }
        for number, offset in enumerate(entry.offsets, 1):
            values[f"axis_{number}"], values[f"axis_{number}_side"] = offset.name, offset.side
            values[f"axis_{number}_offset_m"] = offset.offset_m
        rows.append(values)
    monitor.step(1.0)
    return [{**row, PENETRATION_VERDICTS.section: section} for row, section in zip(rows, sections)]


def write_sheet_table(output_path, rows: Sequence[Mapping], survey_path) -> None:
    """Writes the rows of `drill_sheet_step` as the layer `drill_sheet` (points, on the survey's site grid) into `output_path`."""
    table = [
        ((row[DRILL_SHEET.x_m], row[DRILL_SHEET.y_m]), {key: row.get(key) for key in DRILL_SHEET.columns})
        for row in rows
    ]
    write_layers(output_path, [layer_of(DRILL_SHEET, table)], read_crs_wkt(survey_path))
