"""What may be drilled where: the steps after a survey was processed, composed.

Like `chain.py`, every function here is one call for one Processing algorithm: plain paths and numbers in, files out, earlier
results left as they were when it is cancelled or fails.
"""

from dataclasses import replace
from pathlib import Path
from typing import Dict, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from . import cautions
from .errors import ProcessingError
from .monitor import Monitor
from .outputs.geopackage import Layer, check_replaceable, replace_layers, write_geopackage
from .outputs.ground import Ground, choose_level, read_ground
from .outputs.publish import publish, staging_folder
from .penetrations.chase import Chase, ChaseRules, route_chase
from .penetrations.check import Verdict, check_holes, check_penetrations
from .penetrations.clear_space import ClearSpace, fill_floor
from .penetrations.model import Confidence, KindRule, Penetrations
from .penetrations.placement import Place, PlacementRules, place_pattern
from .site.crs import local_crs_wkt
from .site.geotiff import Band, GridWriter
from .site.grid import SiteGrid

VERDICT_LAYER = "penetration_verdicts"
VERDICT_FIELDS = {
    "verdict": str,
    "governing_item": str,
    "margin_m": float,
    "sigma_margin_m": float,
    "touch_probability": float,
    "reason": str,
}


def check_step(
    survey_path,
    holes: Penetrations,
    sides: Sequence[Tuple[str, Optional[str]]],
    given: Sequence[Mapping],
    fields: Mapping[str, type],
    output_path,
    rules: Mapping[str, KindRule],
    confidence: Confidence = Confidence(),
    sections_folder=None,
    monitor: Monitor = Monitor(),
) -> List[Verdict]:
    """Checks planned penetrations and writes the layer `penetration_verdicts` into the GeoPackage `output_path`.

    `sides` holds surface and level (None: the only one) of each hole, `given` the attributes that came with it, `fields`
    their names and types; all go into the result. Other layers of an existing file are kept. With `sections_folder`, a
    vertical section through each hole is drawn as SVG. Returns the verdicts in the order of `holes`.
    """
    confidence.check()
    check_output(output_path)
    verdicts: List[Optional[Verdict]] = [None] * len(holes)
    grounds = {}
    meant = [(choose_level(survey_path, *side), side[0]) for side in sorted(set(sides), key=str)]
    by_side = dict(zip(sorted(set(sides), key=str), meant))
    for number, plane in enumerate(sorted(set(meant))):
        own = monitor.part(0.05 + 0.55 * number / len(meant), 0.05 + 0.55 * (number + 1) / len(meant))
        which = [i for i, side in enumerate(sides) if by_side[side] == plane]
        ground = grounds[plane] = read_ground(survey_path, *plane, rules)
        found = check_penetrations(holes.subset(which), ground.pieces, ground.known, rules, confidence, own)
        for i, verdict in zip(which, found):
            verdicts[i] = verdict
    kept = {name: kind for name, kind in fields.items() if name not in VERDICT_FIELDS}
    if sections_folder:
        kept["section"] = str
        names = _draw_sections(
            sections_folder, holes, verdicts, [grounds[by_side[s]] for s in sides], confidence, monitor
        )
        given = [{**values, "section": name} for values, name in zip(given, names)]
    rows = [
        (
            tuple(entry),
            {
                **{name: value for name, value in values.items() if name in kept},
                **{name: getattr(verdict, name) for name in VERDICT_FIELDS},
            },
        )
        for entry, values, verdict in zip(holes.entry_m, given, verdicts)
    ]
    text = f"Verdicts on planned penetrations. {cautions.SHORT}"
    monitor.step(0.95)
    write_layers(output_path, [Layer(VERDICT_LAYER, "Point", {**kept, **VERDICT_FIELDS}, rows, text)])
    monitor.progress(1.0)
    return verdicts


def _draw_sections(
    folder, holes, verdicts, grounds: Sequence[Ground], confidence: Confidence, monitor: Monitor
) -> List[str]:
    """Draws a section through each hole into `folder`; returns the pictures' paths."""
    from .penetrations.section import draw_section, picture_names

    names = picture_names(holes.ids)
    with staging_folder(folder) as staging:
        for i, (name, verdict, ground) in enumerate(zip(names, verdicts, grounds)):
            monitor.step(0.6 + 0.34 * i / len(names))
            draw_section(staging / name, holes.subset([i]), verdict, ground.pieces, ground.known, confidence)
        publish(staging, folder)
    return [str(Path(folder) / name) for name in names]


def check_output(path) -> None:
    """Raises `ProcessingError` where `path` cannot become a GeoPackage."""
    if Path(path).suffix.lower() != ".gpkg":
        raise ProcessingError(f"{path} is no GeoPackage; choose an output whose name ends in .gpkg.")
    check_replaceable(path)


def write_layers(path, layers: Sequence[Layer]) -> None:
    """Writes layers into the GeoPackage at `path`, a new one or one whose other layers stay."""
    path = Path(path)
    check_output(path)
    if path.is_file() and path.stat().st_size:
        replace_layers(path, layers, local_crs_wkt())
    else:
        write_geopackage(path, layers, local_crs_wkt())


def count_verdicts(verdicts: Sequence[Verdict]) -> Dict[str, int]:
    """Number of each verdict that occurs."""
    found = [one.verdict for one in verdicts]
    return {name: found.count(name) for name in sorted(set(found))}


def clear_space_step(
    survey_path,
    output_path,
    depth_m: float,
    rules: Mapping[str, KindRule],
    surface: str = "top",
    level: Optional[str] = None,
    tolerance_m: float = 0.005,
    largest_m: float = 0.30,
    cell_m: float = 0.005,
    confidence: Confidence = Confidence(),
    monitor: Monitor = Monitor(),
) -> Tuple[int, int]:
    """Writes a GeoTIFF of the largest diameter that may be drilled to `depth_m` at each cell, metres; nodata is unknown.

    Returns the numbers of cells that are known, and of those where something may be drilled. Raises `ProcessingError` where
    nothing was scanned both ways.
    """
    confidence.check()
    ground = read_ground(survey_path, choose_level(survey_path, surface, level), surface, rules)
    space = ClearSpace(ground.pieces, ground.known, rules, depth_m, tolerance_m, largest_m, confidence)
    extent = space.extent_m
    if not len(extent):
        raise ProcessingError(
            f"Level {ground.level} ({surface}) has no ground that was scanned in both directions, so that all of it is unknown."
        )
    grid = SiteGrid.around(extent, cell_m)
    x, y = grid.centres_m()[0, :, 0], grid.centres_m()[:, 0, 1]
    band = Band(
        f"Largest diameter, {1000 * depth_m:.0f} mm deep; no value is UNKNOWN, never clear",
        "m",
        (
            ("caution", cautions.SHORT),
            ("depth_m", f"{depth_m:g}"),
            ("keep_out_confidence", f"{confidence.keep_out:g}"),
            ("largest_m", f"{largest_m:g}"),
            ("level", ground.level),
            ("surface", surface),
            ("tolerance_m", f"{tolerance_m:g}"),
        ),
    )
    with GridWriter(output_path, grid, [band], local_crs_wkt()) as writer:
        return fill_floor(space, x, y, lambda cells, row, column: writer.write(cells[None], row, column), monitor)


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
                f"Pattern {name} has holes on several levels or surfaces; give each its own pattern_id."
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
            sentence = f"No clear place within {1000 * wanted.search_m:.0f} mm"
            sentence += " inside the allowed area" if wanted.allowed_edges_m is not None else ""
            verdicts = [replace(one, reason=f"{sentence}. At the planned place: {one.reason}") for one in verdicts]
            places = [Place(np.zeros(2), 0.0, planned, verdicts)]
            monitor.warn(f"Pattern {name}: {sentence[0].lower()}{sentence[1:]}.")
        for rank, place in enumerate(places, 0 if name in failed else 1):
            for i, entry, verdict in zip(which, place.holes.entry_m, place.verdicts):
                values = {key: value for key, value in given[i].items() if key in kept}
                values.update({key: getattr(verdict, key) for key in VERDICT_FIELDS})
                values.update(pattern_id=name, rank=rank, turn_deg=np.degrees(place.turn_rad))
                values.update(moved_m=np.hypot(*(entry - holes.entry_m[i])))
                values.update(shift_x_m=entry[0] - holes.entry_m[i, 0], shift_y_m=entry[1] - holes.entry_m[i, 1])
                rows.append((tuple(entry), values))
    monitor.step(0.98)
    text = f"Places for planned penetrations; rank 1 is the nearest, rank 0 means that there is none. {cautions.SHORT}"
    write_layers(output_path, [Layer(PLACE_LAYER, "Point", {**kept, **PLACE_FIELDS}, rows, text)])
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
            f"There is no way for a chase {1000 * wanted.depth_m:.0f} mm deep and {1000 * wanted.width_m:.0f} mm wide between "
            f"these points within {wanted.around_m:g} m around them; allow a crossing, a larger detour or another depth."
        )
    crossed, close = ", ".join(found.crossed), ", ".join(found.too_close)
    reason = "Keeps off all known items." if not (crossed or close) else "Only where crossing is allowed: "
    reason += f"cuts {crossed}" if crossed else ""
    reason += ("; " if crossed and close else "") + (f"comes too close to {close}" if close else "")
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
    text = f"Chases between two points, with what they cross. {cautions.SHORT}"
    write_layers(output_path, [Layer(CHASE_LAYER, "LineString", CHASE_FIELDS, [(found.vertices_m, values)], text)])
    return found
