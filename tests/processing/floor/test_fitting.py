"""What is said when areas lie elsewhere than in earlier depth slices."""

from types import SimpleNamespace

import numpy as np
import pytest

from inslab.processing.common.monitor import Monitor
from inslab.processing.floor.fitting import WHERE, note_moved_rasters, read_given
from inslab.processing.floor.result import Found, SurveyRead
from inslab.processing.site.frame import FITTED, NOT_POSITIONED, AreaFit
from inslab.processing.survey.model import Finding, Survey

LINE = SimpleNamespace(trace_positions_m=lambda: np.array([[0.0, 0.0], [0.5, 0.0], [1.0, 0.0]]))


def fit_of(x=0.0, turn=0.0):
    return AreaFit("A", FITTED, turn, np.array([x, 0.0]))


LOST = AreaFit("A", NOT_POSITIONED)


def said(before, now, rasters=("slices.tif",)):
    """The finding and the warning on areas that lay at `before` and lie at `now`."""
    warned = []
    read = SimpleNamespace(areas={name: SimpleNamespace(lines=[LINE]) for name in now})
    found = note_moved_rasters(read, Found(fits=now), before, rasters, Monitor(warn=warned.append))
    assert list(found.findings) == [Finding("warning", WHERE, text) for text in warned]
    return warned


@pytest.mark.parametrize(
    ("before", "now", "moved"),
    [
        (fit_of(), fit_of(), False),
        (fit_of(), fit_of(0.0004), False),
        (fit_of(), fit_of(0.0006), True),
        (fit_of(), fit_of(turn=0.0006), True),  # 0.6 mm at the far end of the line
        (fit_of(), LOST, True),
        (LOST, fit_of(), True),
        (LOST, LOST, False),
    ],
)
def test_half_a_millimetre_counts(before, now, moved):
    expected = ["Area A has moved since the depth slices were computed; compute the depth slices again."]
    assert said({"A": before}, {"A": now}) == (expected if moved else [])


def test_several_areas_and_none():
    before = {name: fit_of() for name in ("A", "B", "C")}
    now = {"A": fit_of(0.01), "B": fit_of(), "C": fit_of(0.02)}
    assert said(before, now) == [
        "Areas A, C have moved since the depth slices were computed; compute the depth slices again."
    ]
    assert said(before, now, rasters=()) == []


def test_what_cannot_be_used_is_said_once(tmp_path):
    head = "direction_id,area_id,local_direction_deg,site_direction_deg,sigma_deg"
    rows = "wall,A,0,90,0.2\nbroken,A,north,90,0.2\n"
    (tmp_path / "directions.csv").write_text(f"{head}\n{rows}", encoding="utf-8")
    warned = []
    read, found = SurveyRead(tmp_path / "survey.gpkg", Survey(tmp_path, ())), Found()
    for _ in range(2):
        read, found = read_given(read, found, Monitor(warn=warned.append))
        assert [one.direction_id for one in read.observations.directions] == ["wall"]
    assert len(found.findings) == 1
    assert len(warned) == 1
    assert "north" in warned[0]
