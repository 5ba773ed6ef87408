"""The joint fit of a run: first from what was measured on site, then again with the items that overlapping areas both see."""

from dataclasses import replace
from typing import List, Mapping, Sequence

import numpy as np

from ..area.compute import timed
from ..common.language import tr
from ..common.monitor import Monitor
from ..site.fit import fit_areas
from ..site.frame import AreaFit
from ..site.observation_tables import read_observations
from ..site.results import FitSettings
from ..site.walls import read_walls
from ..survey.model import Finding
from .overlaps import find_seams, ties_of
from .result import ChainResult

WHERE = "fit of areas"  # marks the findings of a fit, which a later fit replaces
NOTICEABLE_M = 0.0005


def read_given(result: ChainResult, monitor: Monitor, ties_path=None) -> None:
    """Reads ties, known directions, taped distances and walls of the survey into `result`."""
    findings: List[Finding] = []
    given = read_observations(result.survey.folder, findings, ties_path)
    walls = read_walls(result.survey.folder, result.survey.areas, findings)
    result.observations = replace(given, walls=walls)
    for found in findings:
        if found in result.findings:
            continue  # said when the survey was read
        result.findings.append(found)
        if found.severity != "note":
            monitor.warn(f"{found.where}: {found.text}")


def fit(result: ChainResult, settings: FitSettings, monitor: Monitor) -> None:
    """Fits all areas by what was measured on site."""
    _fit(result, settings, (), monitor)


def fit_with_items(result: ChainResult, settings: FitSettings, monitor: Monitor) -> None:
    """Fits all areas again, with ties across the straight items that two areas both see (none without such items)."""
    ties = ties_of(find_seams(result.picks, result.areas, result.fits))
    if ties:
        monitor.log(tr("Fitting the areas again with {count} items seen in two areas.", count=len(ties)))
        _fit(result, settings, ties, monitor)


def note_moved_rasters(result: ChainResult, before: Mapping[str, AreaFit], rasters: Sequence, monitor: Monitor) -> None:
    """A finding where areas lie elsewhere now than the depth slices of an earlier step put them."""
    if not rasters:
        return
    moved = []
    for area_id, now in result.fits.items():
        earlier = before[area_id]
        if now.is_fitted != earlier.is_fitted:
            moved.append(area_id)
        elif now.is_fitted:
            corners = np.vstack([line.trace_positions_m()[[0, -1]] for line in result.areas[area_id].lines])
            if np.abs(now.to_site(corners) - earlier.to_site(corners)).max() > NOTICEABLE_M:
                moved.append(area_id)
    if moved:
        sentence = (
            tr(
                "Areas {areas} have moved since the depth slices were computed; compute the depth slices again.",
                areas=", ".join(moved),
            )
            if len(moved) > 1
            else tr(
                "Area {area} has moved since the depth slices were computed; compute the depth slices again.",
                area=moved[0],
            )
        )
        result.note("warning", WHERE, sentence)
        monitor.warn(sentence)


def _fit(result: ChainResult, settings: FitSettings, ties, monitor: Monitor) -> None:
    said = {found.text for found in result.findings if found.where == WHERE}
    result.findings = [found for found in result.findings if found.where != WHERE]
    with timed(result.seconds, "fit"):
        result.item_ties = tuple(ties)
        result.site_fit = fit_areas(result.survey.areas, result.all_observations, settings)
    result.fits = dict(result.site_fit.fits)
    sentences = [sentence for fit in result.fits.values() for sentence in fit.warnings]
    for sentence in [*sentences, *result.site_fit.warnings]:
        result.note("warning", WHERE, sentence)
        if sentence not in said:
            monitor.warn(sentence)
