"""Radargrams drawn as pictures."""

from dataclasses import replace
from pathlib import Path
from typing import List, Sequence

from ..area.compute import Use
from ..area.settings import RunSettings
from ..common.monitor import Monitor
from ..common.packages import import_matplotlib
from ..floor import areas
from ..radar.model import WaveSpeed
from ..store import reading
from ..store.publish import publish, staging_folder
from ..survey.model import ScanArea
from ..views.radargram_picture import draw
from ..views.radargrams import PANELS, choose_lines, compose_line, file_name, find_crossings
from .shared.survey_run import begin_again


def radargrams_step(
    survey_path, output_folder, lines: str = "", panels: Sequence[str] = PANELS, monitor: Monitor = Monitor()
) -> List[Path]:
    """Draws one picture a line and dipole axis into `output_folder`, with the picks and items that the survey holds.

    `lines` chooses as in `views.radargrams.choose_lines`; `panels` are some of its `PANELS`. The survey is not changed. Returns
    the pictures' paths.
    """
    import_matplotlib()
    read, found = begin_again(survey_path, monitor.part(0.0, 0.1))
    chosen = choose_lines(read.survey, lines)
    some = replace(read.survey, areas=tuple(area for area in read.survey.areas if area.area_id in chosen))
    read, found = areas.with_known_depths(replace(read, survey=some), found, monitor)
    output = Path(output_folder)
    names = reading.read_joined_ids(survey_path)
    picks, items = reading.read_picks(survey_path), reading.read_area_items(survey_path)
    with staging_folder(output) as staging:

        def drawing(area: ScanArea) -> Use:
            def draw_lines(prepared, speed: WaveSpeed, own: Monitor) -> None:
                here = [pick for pick in picks if pick.area_id == area.area_id]
                there = [item for item in items if area.area_id in item.area_ids]
                numbers = [n for n, one in enumerate(prepared.lines) if one.line in chosen[area.area_id]]
                for done, number in enumerate(numbers):
                    own.step(done / len(numbers))
                    line = prepared.lines[number].line
                    crossings = find_crossings(area, line, here, there, names)
                    draw(compose_line(prepared, number, speed, panels, crossings), staging / file_name(line))

            return draw_lines

        areas.use_areas(read, found, RunSettings(), drawing, monitor.part(0.1, 0.98))
        drawn = sorted(path.name for path in staging.iterdir())
        monitor.step(0.99)
        publish(staging, output)
    return [output / name for name in drawn]
