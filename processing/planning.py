"""What may be drilled where: the steps after a survey was processed, composed.

Like `chain.py`, every function here is one call for one Processing algorithm: plain paths and numbers in, files out, earlier
results left as they were when it is cancelled or fails.
"""

from pathlib import Path
from typing import Dict, List, Mapping, Optional, Sequence, Tuple

from . import cautions
from .errors import ProcessingError
from .language import tr
from .monitor import Monitor
from .outputs.folder_lock import folder_lock
from .outputs.geopackage import Layer, check_replaceable, replace_layers, write_geopackage
from .outputs.ground import Ground, choose_level, read_ground
from .outputs.publish import publish, staging_folder
from .outputs.stored import read_crs_wkt
from .penetrations.check import Verdict, check_penetrations
from .penetrations.clear_space import ClearSpace, fill_floor
from .penetrations.model import Confidence, KindRule, Penetrations
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
    verdicts, grounds = check_by_plane(survey_path, holes, sides, rules, confidence, monitor.part(0.05, 0.6))
    kept = {name: kind for name, kind in fields.items() if name not in VERDICT_FIELDS}
    # Where each was checked, also if the table did not say so: plans and bodies are told apart by it.
    kept.update(level=str, surface=str)
    given = [
        {**values, "level": ground.level, "surface": surface}
        for values, ground, (surface, _level) in zip(given, grounds, sides)
    ]
    if sections_folder:
        kept["section"] = str
        names = draw_sections(sections_folder, holes, verdicts, grounds, confidence, monitor.part(0.6, 0.94))
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
    text = tr("Verdicts on planned penetrations. {short}", short=cautions.SHORT)
    monitor.step(0.95)
    write_layers(output_path, [Layer(VERDICT_LAYER, "Point", {**kept, **VERDICT_FIELDS}, rows, text)], survey_path)
    monitor.progress(1.0)
    return verdicts


def check_by_plane(survey_path, holes: Penetrations, sides, rules, confidence, monitor: Monitor):
    """Verdict of each hole, and the `Ground` that it was checked against; every level and surface is read once."""
    verdicts: List[Optional[Verdict]] = [None] * len(holes)
    grounds: List[Optional[Ground]] = [None] * len(holes)
    planes = {side: (choose_level(survey_path, *side), side[0]) for side in sorted(set(sides), key=str)}
    for number, plane in enumerate(sorted(set(planes.values()))):
        which = [i for i, side in enumerate(sides) if planes[side] == plane]
        ground = read_ground(survey_path, *plane, rules)
        own = monitor.part(number / len(planes), (number + 1) / len(planes))
        found = check_penetrations(holes.subset(which), ground.pieces, ground.known, rules, confidence, own)
        for i, verdict in zip(which, found):
            verdicts[i], grounds[i] = verdict, ground
    return verdicts, grounds


def draw_sections(
    folder, holes, verdicts, grounds: Sequence[Ground], confidence: Confidence, monitor: Monitor, suffix: str = ".svg"
) -> List[str]:
    """Draws a section through each hole into `folder`, as .svg or .png; returns the pictures' paths."""
    from .penetrations.section import draw_section, picture_names

    names = picture_names(holes.ids, suffix)
    with staging_folder(folder) as staging:
        for i, (name, verdict, ground) in enumerate(zip(names, verdicts, grounds)):
            monitor.step(i / len(names))
            draw_section(staging / name, holes.subset([i]), verdict, ground.pieces, ground.known, confidence)
        publish(staging, folder)
    return [str(Path(folder) / name) for name in names]


def check_output(path) -> None:
    """Raises `ProcessingError` where `path` cannot become a GeoPackage."""
    if Path(path).suffix.lower() != ".gpkg":
        raise ProcessingError(tr("{path} is no GeoPackage; choose an output whose name ends in .gpkg.", path=path))
    check_replaceable(path)


def write_layers(path, layers: Sequence[Layer], survey_path) -> None:
    """Writes layers, on the site grid of a survey, into the GeoPackage at `path`, a new one or one whose other layers stay."""
    path = Path(path)
    check_output(path)
    crs_wkt = read_crs_wkt(survey_path)
    if path.is_file() and path.stat().st_size:
        with folder_lock(path.parent):  # it may be the survey, which a step is changing
            replace_layers(path, layers, crs_wkt)
    else:
        write_geopackage(path, layers, crs_wkt)


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
            tr(
                "Level {level} ({surface}) has no ground that was scanned in both directions, so that all of it "
                "is unknown.",
                level=ground.level,
                surface=surface,
            )
        )
    grid = SiteGrid.around(extent, cell_m)
    x, y = grid.centres_m()[0, :, 0], grid.centres_m()[:, 0, 1]
    band = Band(
        tr("Largest diameter, {depth:.0f} mm deep; no value is UNKNOWN, never clear", depth=1000 * depth_m),
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
    with GridWriter(output_path, grid, [band], read_crs_wkt(survey_path)) as writer:
        return fill_floor(space, x, y, lambda cells, row, column: writer.write(cells[None], row, column), monitor)
