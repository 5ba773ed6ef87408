"""What the steps about penetrations share: checking by plane, sections through holes, and layers on the site grid of a survey."""

from pathlib import Path
from typing import List, Optional, Sequence

from ...common.errors import ProcessingError
from ...common.language import tr
from ...common.monitor import Monitor
from ...penetrations.check import Verdict, check_penetrations
from ...penetrations.ground import Ground, GroundTables, choose_level, find_ground
from ...penetrations.model import Confidence, Penetrations
from ...store.geopackage import replace_layers, write_geopackage
from ...store.layer import Layer
from ...store.locks import folder_lock
from ...store.publish import publish, staging_folder
from ...store.replacing import check_replaceable

VERDICTS_FILE = "penetrations.gpkg"


def check_by_plane(tables: GroundTables, holes: Penetrations, sides, rules, confidence, monitor: Monitor):
    """Verdict of each hole, and the `Ground` that it was checked against; every level and surface is composed once."""
    verdicts: List[Optional[Verdict]] = [None] * len(holes)
    grounds: List[Optional[Ground]] = [None] * len(holes)
    planes = {side: (choose_level(tables, *side), side[0]) for side in sorted(set(sides), key=str)}
    for number, plane in enumerate(sorted(set(planes.values()))):
        which = [i for i, side in enumerate(sides) if planes[side] == plane]
        ground = find_ground(tables, *plane, rules)
        own = monitor.part(number / len(planes), (number + 1) / len(planes))
        found = check_penetrations(holes.subset(which), ground.pieces, ground.known, rules, confidence, own)
        for i, verdict in zip(which, found):
            verdicts[i], grounds[i] = verdict, ground
    return verdicts, grounds


def draw_sections(
    folder, holes, verdicts, grounds: Sequence[Ground], confidence: Confidence, monitor: Monitor, suffix: str = ".svg"
) -> List[str]:
    """Draws a section through each hole into `folder`, as .svg or .png; returns the pictures' paths."""
    from ...views.hole_section import draw_section, picture_names

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
        raise ProcessingError(tr("{path} is not a GeoPackage; choose an output whose name ends in .gpkg.", path=path))
    check_replaceable(path)


def write_layers(path, layers: Sequence[Layer], crs_wkt: str) -> None:
    """Writes layers on a site grid into the GeoPackage at `path`, a new one or one whose other layers stay."""
    path = Path(path)
    check_output(path)
    if path.is_file() and path.stat().st_size:
        with folder_lock(path.parent):  # it may be the survey, which a step is changing
            replace_layers(path, layers, crs_wkt)
    else:
        write_geopackage(path, layers, crs_wkt)
