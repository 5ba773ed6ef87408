"""The joint fit of a run: first from what was measured on site, then again with the items that overlapping areas both see."""

from dataclasses import replace
from typing import Dict, List, Mapping, Sequence, Tuple

import numpy as np

from ..area.compute import timed
from ..common.language import tr, trn
from ..common.monitor import Monitor
from ..site.fit import fit_areas
from ..site.frame import AreaFit
from ..site.observation_tables import read_observations
from ..site.observations import Tie
from ..site.results import FitSettings
from ..site.walls import read_walls
from ..survey.model import Finding
from .overlaps import find_seams, ties_of
from .result import Found, SurveyRead

WHERE = "fit of areas"  # marks the findings of a fit, which a later fit replaces
NOTICEABLE_M = 0.0005


def read_given(read: SurveyRead, found: Found, monitor: Monitor, ties_path=None) -> Tuple[SurveyRead, Found]:
    """With ties, known directions, taped distances and walls of the survey, and with what was noticed in their tables."""
    findings: List[Finding] = []
    given = read_observations(read.survey.folder, findings, ties_path)
    walls = read_walls(read.survey.folder, read.survey.areas, findings)
    for one in findings:
        if one in found.findings:
            continue  # said when the survey was read
        found = found.noting(one)
        if one.severity != "note":
            monitor.warn(f"{one.where}: {one.text}")
    return replace(read, observations=replace(given, walls=walls)), found


def fit(read: SurveyRead, found: Found, settings: FitSettings, monitor: Monitor) -> Found:
    """All areas fitted by what was measured on site."""
    return _fit(read, found, settings, (), monitor)


def fit_with_items(read: SurveyRead, found: Found, settings: FitSettings, monitor: Monitor) -> Found:
    """All areas fitted again, with ties across the straight items that two areas both see; `found` where there are none."""
    ties = ties_of(find_seams(found.picks, read.areas, found.fits))
    if not ties:
        return found
    monitor.log(
        trn(
            "Fitting the areas again with {count} item seen in two areas.",
            "Fitting the areas again with {count} items seen in two areas.",
            len(ties),
        )
    )
    return _fit(read, found, settings, ties, monitor)


def note_moved_rasters(
    read: SurveyRead, found: Found, before: Mapping[str, AreaFit], rasters: Sequence, monitor: Monitor
) -> Found:
    """With a finding where areas lie elsewhere now than the depth slices of an earlier step put them."""
    if not rasters:
        return found
    moved = []
    for area_id, now in found.fits.items():
        earlier = before[area_id]
        if now.is_fitted != earlier.is_fitted:
            moved.append(area_id)
        elif now.is_fitted:
            corners = np.vstack([line.trace_positions_m()[[0, -1]] for line in read.areas[area_id].lines])
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
        found = found.noting(Finding("warning", WHERE, sentence))
        monitor.warn(sentence)
    return found


def _fit(read: SurveyRead, found: Found, settings: FitSettings, ties: Sequence[Tie], monitor: Monitor) -> Found:
    said = {one.text for one in found.findings if one.where == WHERE}
    seconds: Dict[str, float] = {}
    with timed(seconds, "fit"):
        site_fit = fit_areas(read.survey.areas, read.observations.with_ties(tuple(ties)), settings)
    sentences = [sentence for fit in site_fit.fits.values() for sentence in fit.warnings]
    sentences += site_fit.warnings
    for sentence in sentences:
        if sentence not in said:
            monitor.warn(sentence)
    found = replace(
        found.without_findings_at(WHERE), item_ties=tuple(ties), site_fit=site_fit, fits=dict(site_fit.fits)
    )
    return found.noting(*(Finding("warning", WHERE, sentence) for sentence in sentences)).taking(seconds)
