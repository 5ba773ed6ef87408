"""What may be drilled where: the steps after a survey was processed, composed.

Like `chain.py`, every function here is one call for one Processing algorithm: plain paths and numbers in, files out, earlier
results left as they were when it is cancelled or fails.
"""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Callable, Dict, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from . import cautions
from .errors import ProcessingError, SurveyError
from .items.model import KINDS
from .monitor import Monitor
from .outputs.geopackage import Layer, check_replaceable, read_layer, replace_layers, write_geopackage
from .outputs.publish import publish, staging_folder
from .penetrations.check import Verdict, check_penetrations
from .penetrations.clear_space import ClearSpace, fill_floor
from .penetrations.clearance import Pieces, cut_up
from .penetrations.known_ground import KnownGround, ScannedPiece, find_dense_strips
from .penetrations.model import NO_OBSTACLE, Confidence, KindRule, Obstacle, Penetrations, check_rules, rule_for
from .site.crs import local_crs_wkt
from .site.geotiff import Band, GridReader, GridWriter
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


@dataclass(frozen=True)
class Ground:
    """What a survey says of one level, seen from one surface: items cut up, and what is known."""

    level: str
    surface: str
    pieces: Pieces = field(repr=False)
    known: KnownGround = field(repr=False)


def planes(survey_path) -> List[Tuple[str, str]]:
    """Level and surface of the survey's scan areas, sorted, each once."""
    return sorted({(row["level"], row["surface"]) for _, row in read_layer(survey_path, "scan_areas")})


def choose_level(survey_path, surface: str, level: Optional[str] = None) -> str:
    """The level meant: the one given, or the only one that has scan areas on `surface`.

    Raises `ProcessingError` with the levels to choose from.
    """
    levels = [one for one, side in planes(survey_path) if side == surface]
    if level:
        if level in levels:
            return level
        listed = ", ".join(levels) or "none"
        raise ProcessingError(f"Level {level} has no scan area on the surface {surface}; levels that have: {listed}.")
    if len(levels) == 1:
        return levels[0]
    if not levels:
        raise ProcessingError(f"The survey has no scan area on the surface {surface}; choose another surface.")
    raise ProcessingError(f"The survey has several levels; name one of them: {', '.join(levels)}.")


def read_ground(survey_path, level: str, surface: str, rules: Mapping[str, KindRule]) -> Ground:
    """Items, coverage and slab base of one level and surface from survey.gpkg.

    Raises `SurveyError` where items were not detected yet.
    """
    survey_path = Path(survey_path)
    check_rules(rules)
    areas = [row for _, row in read_layer(survey_path, "scan_areas")]
    here = [row for row in areas if (row["level"], row["surface"]) == (level, surface)]
    coverage = read_layer(survey_path, "coverage")
    item_rows = read_layer(survey_path, "items")
    if not coverage and not item_rows:
        raise SurveyError(
            f"{survey_path} has no items and no coverage; run 'Detect items' or 'Process a survey' first."
        )
    obstacles = [
        _obstacle(line, row, rules)
        for line, row in item_rows
        if line is not None and (row["level"], row["surface"]) == (level, surface) and row["status"] not in NO_OBSTACLE
    ]
    pieces = cut_up(obstacles)
    scanned = [
        ScannedPiece(row["area_id"], rings, row["depth_m"], row["line_directions"], row["sigma_xy_m"] or 0.0)
        for rings, row in coverage
        if rings is not None and (row["level"], row["surface"]) == (level, surface)
    ]
    unplaced = [row["area_id"] for row in here if row["status"] != "fitted"]
    strips = find_dense_strips(pieces, _longest_wavelength_m(survey_path, here))
    base = _base_reader(survey_path, level, surface)
    return Ground(level, surface, pieces, KnownGround(scanned, strips, base, unplaced))


def _obstacle(line: np.ndarray, row: Mapping, rules: Mapping[str, KindRule]) -> Obstacle:
    probabilities = {kind: row.get(f"p_{kind}") or 0.0 for kind in KINDS}
    kind = row["kind"] if row["kind"] in KINDS else "unknown"
    return Obstacle(
        row["item_id"],
        kind,
        line * [1.0, 1.0, -1.0],
        row["sigma_xy_m"],
        row["sigma_depth_m"],
        1.0 if row["confidence"] is None else row["confidence"],
        rule_for(probabilities, kind, rules),
    )


def _longest_wavelength_m(survey_path: Path, areas: Sequence[Mapping]) -> float:
    """Of the areas' wavelengths in concrete at their centre frequency, the longest, metres; 0 without a wave speed."""
    speeds = {row["area_id"]: row["speed_m_ns"] for _, row in read_layer(survey_path, "wave_speeds")}
    found = [
        1000.0 * speeds[row["area_id"]] / row["centre_frequency_mhz"]
        for row in areas
        if row["area_id"] in speeds and row["centre_frequency_mhz"]
    ]
    return max(found, default=0.0)


def _base_reader(survey_path: Path, level: str, surface: str) -> Callable:
    """Slab thickness and its sigma at points; NaN where the base is not seen."""
    rows = [row for _, row in read_layer(survey_path, "rasters")]
    rows = [
        row
        for row in rows
        if row["content"] == "base" and not row["area_id"] and (row["level"], row["surface"]) == (level, surface)
    ]
    path = survey_path.resolve().parent / rows[0]["path"] if rows else None
    if path is None or not path.is_file():
        return KnownGround().base
    reader = GridReader(path)
    grid = reader.grid
    cube = reader.read(0, 0, grid.rows, grid.columns)

    def base(points_m: np.ndarray) -> Tuple[np.ndarray, np.ndarray]:
        x, y = np.asarray(points_m, float).T
        column = np.floor(x / grid.cell_m).astype(int) - grid.left
        row = grid.top - 1 - np.floor(y / grid.cell_m).astype(int)
        inside = (row >= 0) & (row < grid.rows) & (column >= 0) & (column < grid.columns)
        found = cube[:, np.clip(row, 0, grid.rows - 1), np.clip(column, 0, grid.columns - 1)].astype(float)
        found[:, ~inside] = np.nan
        return found[0], found[1]

    return base


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
