"""The two reports on a survey: that of a run, for the surveyor who checks it, and the one that a client gets.

Both are made of the same sections, each at its own length, from the rows of survey.gpkg. So they need neither the radar data nor a
new computation (pictures of lines excepted), and say the same.
"""

from pathlib import Path
from types import MappingProxyType
from typing import List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.errors import SurveyError
from ..common.language import tr
from ..common.vocabulary.surfaces import TOP, plane_words
from ..site.results import SiteFit
from ..store.reading import read_survey_name
from ..store.schema import ITEMS, PENETRATION_VERDICTS, SCAN_AREAS
from .content import Length, MapSheet, Paper
from .evidence import findings_section, scanned_ground_section, wave_speeds_section
from .fits import fit_sections, scans_section
from .items import item_sections, mats_section, penetrations_section, radargrams_section
from .summary import Cover, cover_section, how_to_read_section, in_short_section, signatures_section
from .tables import SurveyTables

AREA_MARGIN_M, LEVEL_MARGIN_M = 0.15, 0.5


def run_report(
    survey_path, site_fit: Optional[SiteFit] = None, failures: Mapping[str, str] = MappingProxyType({})
) -> Paper:
    """The report of a run on the survey that it wrote to `survey_path`; parts of steps that did not run are left out.

    The same result gives the same paper. What survey.gpkg does not hold comes beside it: `site_fit`, the adjustment of all areas
    where the run made it, and `failures`, by area id why an area gave no complete result.
    """
    tables, run = SurveyTables(survey_path), Length.RUN
    parts = [cover_section(tables, run)]
    if tables.was_searched:
        parts.append(in_short_section(tables, run))
    parts += [scans_section(tables, run, failures), findings_section(tables, run)]
    parts += fit_sections(tables, run, site_fit)
    if tables.wave_speeds:
        parts.append(wave_speeds_section(tables, run))
    if tables.was_searched:
        parts += [scanned_ground_section(tables, run), *item_sections(tables, run), mats_section(tables, run)]
    return Paper(tr("Survey {name}", name=read_survey_name(tables.path)), tuple(parts))


def client_report(
    survey_path,
    cover: Cover = Cover(),
    holes: Sequence[Tuple[object, Mapping]] = (),
    radargrams: Sequence[Path] = (),
) -> Paper:
    """The report for a client on the survey or record at `survey_path`; `holes` are rows of planned penetrations with their
    verdicts, if they have any.

    The same survey gives the same paper. Raises `SurveyError` where items were not detected yet.
    """
    tables, client = SurveyTables(survey_path), Length.CLIENT
    if not tables.was_searched:
        raise SurveyError(
            tr(
                "{file} has no items and no coverage; run 'Detect items' or 'Process a survey' first.",
                file=tables.path,
            )
        )
    title = cover.title or tr("Concrete scan {name}", name=read_survey_name(tables.path))
    parts = [cover_section(tables, client, cover), in_short_section(tables, client), how_to_read_section()]
    parts += [*map_sheets(tables, holes), *item_sections(tables, client), mats_section(tables, client)]
    if holes:
        parts.append(penetrations_section(holes))
    if radargrams:
        parts.append(radargrams_section(radargrams))
    parts += [scans_section(tables, client, {}), *fit_sections(tables, client, None)]
    parts += [wave_speeds_section(tables, client), scanned_ground_section(tables, client)]
    parts += [findings_section(tables, client), signatures_section()]
    return Paper(title, tuple(parts))


def map_sheets(tables: SurveyTables, holes: Sequence[Tuple[object, Mapping]]) -> List[MapSheet]:
    """A sheet for each level and surface, each followed by those of its areas."""
    sheets = []
    for plane in tables.planes:
        rings = {
            row[SCAN_AREAS.area_id]: shape[0] for shape, row in tables.of_plane(SCAN_AREAS, plane) if shape is not None
        }
        lines = [line[:, :2] for line, _ in tables.of_plane(ITEMS, plane) if line is not None]
        own = [place for place, row in holes if _plane_of_hole(row, plane) == plane]
        spots = [*rings.values(), *lines, *(np.asarray(place, float)[None, :2] for place in own)]
        if not spots:
            continue
        words = plane_words(plane)
        caption = tr("All items of this level. Depths stand on the sheets of the scan areas.")
        sheets.append(MapSheet(words, *plane, _extent(spots, LEVEL_MARGIN_M), caption))
        for area_id, ring in sorted(rings.items()):
            caption = tr("Numbers along the items are depths to their top in millimetres.")
            title = tr("Scan area {area}, {level}", area=area_id, level=words)
            sheets.append(MapSheet(title, *plane, _extent([ring], AREA_MARGIN_M), caption, area_id))
    return sheets


def _plane_of_hole(row: Mapping, plane: Tuple[str, str]) -> Tuple[str, str]:
    """Level and surface of a hole; one that does not say its level counts as on that of `plane`, without a surface as on top."""
    return row.get(PENETRATION_VERDICTS.level) or plane[0], row.get(PENETRATION_VERDICTS.surface) or TOP


def _extent(spots, margin_m: float) -> np.ndarray:
    corners = np.vstack(spots)
    return np.array([corners.min(axis=0) - margin_m, corners.max(axis=0) + margin_m])
