"""Where to drill instead, where to cut, and what to hand to the one who drills: further steps after `planning`."""

from dataclasses import replace
from typing import Dict, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from . import cautions
from .errors import ProcessingError
from .language import tr
from .monitor import Monitor
from .outputs.geopackage import Layer
from .outputs.ground import Ground, choose_level, read_ground
from .penetrations.chase import Chase, ChaseRules, route_chase
from .penetrations.check import check_holes, check_penetrations
from .penetrations.drill_sheet import GridAxis, sheet_entry
from .penetrations.model import Confidence, KindRule, Penetrations
from .penetrations.placement import Place, PlacementRules, place_pattern
from .planning import VERDICT_FIELDS, check_by_plane, check_output, draw_sections, write_layers

PLACE_LAYER = "penetration_places"
PLACE_FIELDS = {
    "pattern_id": str,
    "rank": int,
    "moved_m": float,
    "shift_x_m": float,
    "shift_y_m": float,
    "turn_deg": float,
    **VERDICT_FIELDS,
}


def place_step(
    survey_path,
    holes: Penetrations,
    sides: Sequence[Tuple[str, Optional[str]]],
    patterns: Sequence[str],
    given: Sequence[Mapping],
    fields: Mapping[str, type],
    output_path,
    rules: Mapping[str, KindRule],
    wanted: PlacementRules,
    confidence: Confidence = Confidence(),
    monitor: Monitor = Monitor(),
) -> Tuple[List[str], List[str]]:
    """Moves each pattern of holes to the nearest places where all of it is clear; writes the layer `penetration_places`.

    Holes with the same text in `patterns` are one rigid pattern. Rank 1 is the nearest place; a pattern that has none stays
    where it is planned, with rank 0 and its verdict there. Returns the patterns that were placed and those that were not.
    """
    confidence.check()
    wanted.check()
    check_output(output_path)
    placed, failed, rows = [], [], []
    kept = {name: kind for name, kind in fields.items() if name not in PLACE_FIELDS}
    names = list(dict.fromkeys(patterns))
    grounds: Dict[Tuple[str, str], Ground] = {}
    for number, name in enumerate(names):
        own = monitor.part(0.02 + 0.95 * number / len(names), 0.02 + 0.95 * (number + 1) / len(names))
        which = [i for i, pattern in enumerate(patterns) if pattern == name]
        if len({sides[i] for i in which}) > 1:
            raise ProcessingError(
                tr("Pattern {name} has holes on several levels or surfaces; give each its own pattern_id.", name=name)
            )
        surface, level = sides[which[0]]
        plane = choose_level(survey_path, surface, level), surface
        if plane not in grounds:
            grounds[plane] = read_ground(survey_path, *plane, rules)
        pieces, known = grounds[plane].pieces, grounds[plane].known
        planned = holes.subset(which)
        check_holes(planned)
        places = place_pattern(planned, pieces, known, rules, wanted, confidence, own)
        (placed if places else failed).append(name)
        if not places:
            verdicts = check_penetrations(planned, pieces, known, rules, confidence)
            sentence = tr("No clear place within {search:.0f} mm", search=1000 * wanted.search_m)
            sentence += tr(" inside the allowed area") if wanted.allowed_edges_m is not None else ""
            verdicts = [
                replace(
                    one, reason=tr("{sentence}. At the planned place: {reason}", sentence=sentence, reason=one.reason)
                )
                for one in verdicts
            ]
            places = [Place(np.zeros(2), 0.0, planned, verdicts)]
            monitor.warn(tr("{sentence}: {name}.", sentence=sentence, name=name))
        for rank, place in enumerate(places, 0 if name in failed else 1):
            for i, entry, verdict in zip(which, place.holes.entry_m, place.verdicts):
                values = {key: value for key, value in given[i].items() if key in kept}
                values.update({key: getattr(verdict, key) for key in VERDICT_FIELDS})
                values.update(pattern_id=name, rank=rank, turn_deg=np.degrees(place.turn_rad))
                values.update(moved_m=np.hypot(*(entry - holes.entry_m[i])))
                values.update(shift_x_m=entry[0] - holes.entry_m[i, 0], shift_y_m=entry[1] - holes.entry_m[i, 1])
                rows.append((tuple(entry), values))
    monitor.step(0.98)
    text = tr(
        "Places for planned penetrations; rank 1 is the nearest, rank 0 means that there is none. {short}",
        short=cautions.SHORT,
    )
    write_layers(output_path, [Layer(PLACE_LAYER, "Point", {**kept, **PLACE_FIELDS}, rows, text)], survey_path)
    return placed, failed


CHASE_LAYER = "chases"
CHASE_FIELDS = {
    **dict.fromkeys(("level", "surface"), str),
    **dict.fromkeys(("depth_m", "width_m", "length_m"), float),
    "bend_count": int,
    **dict.fromkeys(("crossed_items", "too_close_items", "reason"), str),
}


def chase_step(
    survey_path,
    start_m: Tuple[float, float],
    end_m: Tuple[float, float],
    output_path,
    rules: Mapping[str, KindRule],
    wanted: ChaseRules,
    surface: str = "top",
    level: Optional[str] = None,
    confidence: Confidence = Confidence(),
    monitor: Monitor = Monitor(),
) -> Chase:
    """Finds the cheapest chase and writes it as the one line of the layer `chases`.

    Raises `ProcessingError` where there is none, and then writes nothing.
    """
    confidence.check()
    check_output(output_path)
    ground = read_ground(survey_path, choose_level(survey_path, surface, level), surface, rules)
    found = route_chase(
        start_m, end_m, ground.pieces, ground.known, rules, wanted, confidence, monitor.part(0.05, 0.95)
    )
    if found is None:
        raise ProcessingError(
            tr(
                "There is no way for a chase {depth:.0f} mm deep and {width:.0f} mm wide between these points "
                "within {around_m:g} m around them; allow a crossing, a larger detour or another depth.",
                depth=1000 * wanted.depth_m,
                width=1000 * wanted.width_m,
                around_m=wanted.around_m,
            )
        )
    crossed, close = ", ".join(found.crossed), ", ".join(found.too_close)
    reason = tr("Keeps off all known items.") if not (crossed or close) else tr("Only where crossing is allowed: ")
    reason += tr("cuts {crossed}", crossed=crossed) if crossed else ""
    reason += ("; " if crossed and close else "") + (tr("comes too close to {close}", close=close) if close else "")
    values = {
        "level": ground.level,
        "surface": surface,
        "depth_m": wanted.depth_m,
        "width_m": wanted.width_m,
        "length_m": found.length_m,
        "bend_count": len(found.bends_deg),
        "crossed_items": crossed or None,
        "too_close_items": close or None,
        "reason": reason if reason.endswith(".") else f"{reason}.",
    }
    monitor.step(0.97)
    text = tr("Chases between two points, with what they cross. {short}", short=cautions.SHORT)
    write_layers(
        output_path, [Layer(CHASE_LAYER, "LineString", CHASE_FIELDS, [(found.vertices_m, values)], text)], survey_path
    )
    return found


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


def sheet_rows(
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
    """Writes the rows of `sheet_rows` as the layer `drill_sheet` (points, on the survey's site grid) into `output_path`."""
    table = [
        ((row["x_m"], row["y_m"]), {key: value for key, value in row.items() if key in SHEET_FIELDS}) for row in rows
    ]
    write_layers(
        output_path,
        [Layer(SHEET_LAYER, "Point", SHEET_FIELDS, table, tr("Drill sheet. {short}", short=cautions.SHORT))],
        survey_path,
    )
