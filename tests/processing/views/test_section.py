"""Sections before they are drawn: paths, crossings, radargrams and cuts through slices."""

import numpy as np
import pytest
import surveys

from inslab.processing.area import compute
from inslab.processing.common.errors import Cancelled, ProcessingError, SurveyError
from inslab.processing.common.monitor import Monitor
from inslab.processing.site.crs import local_crs_wkt
from inslab.processing.site.geotiff import GridWriter, depth_bands
from inslab.processing.site.grid import SiteGrid
from inslab.processing.steps.readsurvey import read_survey_step
from inslab.processing.views.section import SectionSource, cut_slices
from inslab.processing.views.section_path import SectionPath, meetings


@pytest.fixture(scope="module")
def source(small_survey, tmp_path_factory):
    path = tmp_path_factory.mktemp("read") / "survey.gpkg"
    read_survey_step(small_survey, path)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            compute, "wave_speed", lambda task, _prepared, _result, _monitor: surveys.true_speed(task.area.area_id)
        )
        yield SectionSource(path)


@pytest.fixture(scope="module")
def section(source):
    return source.of_line("A2", "X02", "across")


def test_a_polyline_is_met_where_it_crosses():
    line = np.array([(0.0, -1.0, 0.05), (0.0, 1.0, 0.07), (1.0, 1.0, 0.07), (1.0, -1.0, 0.03)])
    found = meetings((-0.5, 0.0), (1.5, 0.0), line)
    assert [(one.distance_m, one.depth_m, one.crossing_rad) for one in found] == [
        pytest.approx((0.5, 0.06, 0.0)),
        pytest.approx((1.5, 0.05, 0.0)),
    ]
    slanting = meetings((0.0, 0.0), (1.0, 0.0), np.array([(0.4, -0.1, 0.1), (0.6, 0.1, 0.1)]))
    assert np.degrees(slanting[0].crossing_rad) == pytest.approx(45.0)
    assert meetings((0.0, 0.0), (0.3, 0.0), line[2:]) == []


def test_a_vertex_on_the_line_is_met_once():
    line = np.array([(0.5, -1.0, 0.05), (0.5, 0.0, 0.05), (0.5, 1.0, 0.05)])
    assert len(meetings((0.0, 0.0), (1.0, 0.0), line)) == 1


def test_places_along_a_bent_path():
    path = SectionPath.drawn([(0, 0), (3, 0), (3, 0), (3, 4)])
    assert path.length_m == 7.0
    assert path.points_at([0, 3, 5, 9]).tolist() == [[0, 0], [3, 0], [3, 2], [3, 4]]
    assert path.place((3.5, 1.0)) == pytest.approx((4.0, 0.5))
    assert path.place((-3.0, 4.0)) == pytest.approx((0.0, 5.0))
    found = path.meetings(np.array([(1.0, -1.0, 0.1), (1.0, 1.0, 0.1), (4.0, 1.0, 0.1)]))
    assert [one.distance_m for one in found] == pytest.approx([1.0, 4.0])


def test_a_line_shows_its_bars_at_their_places(section):
    """Against what the survey was made with."""
    assert section.path.length_m == pytest.approx(surveys.SIZE_M[0])
    raw, processed, migrated = section.panels
    assert section.path.vertices_m[1] == pytest.approx(surveys.to_site("A2", (0.8, 0.2)), abs=0.004)
    assert (raw.distance_m[0], raw.distance_m[-1]) == (0.0, surveys.SIZE_M[0])
    later = processed.vertical > 0.5
    for place, depth in surveys.BARS["x"]:
        column = np.argmin(np.abs(processed.distance_m - place))
        time = processed.vertical[later][np.argmax(np.abs(processed.values[column, later]))]
        assert section.depth_of_time(time) == pytest.approx(depth, abs=0.012)
        assert section.picture.time_of_depth(section.depth_of_time(time)) == pytest.approx(time)
    assert migrated.vertical[-1] > 0.2


def test_local_and_site_coordinates_are_those_of_the_fit(section):
    middle = section.local_at(0.4)
    assert middle == pytest.approx((0.4, 0.2))
    assert section.fit.to_site([middle])[0] == pytest.approx(section.path.points_at(0.4)[0])


def test_nothing_counts_as_scanned_before_it_was_looked_for(section):
    assert np.isnan(section.reliable_m).all()


def test_an_area_is_prepared_once(source, section, monkeypatch):
    monkeypatch.setattr(compute, "prepare", lambda *_: pytest.fail("prepared again"))
    assert source.of_line("A2", "Y00", "along").line.line_id == "Y00"


def test_what_is_not_there_is_said(source, tmp_path):
    with pytest.raises(ProcessingError, match="no area Z"):
        source.of_line("Z", "X00", "across")
    with pytest.raises(ProcessingError, match="no usable line Q1"):
        source.of_line("A1", "Q1", "across")
    with pytest.raises(ProcessingError, match="no depth slices"):
        source.along([(10, 20), (11, 20)], "Level 1", "top")
    with pytest.raises(ProcessingError, match="no length"):
        source.along([(10, 20), (10, 20)], "Level 1", "top")
    with pytest.raises(Cancelled):
        source.of_line("A1", "X00", "across", Monitor(cancelled=lambda: True))
    with pytest.raises(SurveyError):
        SectionSource(tmp_path / "none.gpkg").of_line("A1", "X00", "across")


def test_slices_are_cut_where_the_path_runs(tmp_path):
    """Cells numbered by row and column, so that each value tells where it is from."""
    grid = SiteGrid(1000, 2300, 500, 300, 0.01)  # x 10 to 15, y 20 to 23
    rows, columns = np.mgrid[0:300, 0:500]
    cube = np.stack([columns, rows]).astype(np.float32) / 16  # dB are rounded to sixteenths
    cube[:, :, :20] = np.nan
    with GridWriter(tmp_path / "s.tif", grid, depth_bands([0.005, 0.015]), local_crs_wkt()) as writer:
        writer.write(cube)
    panel = cut_slices(tmp_path / "s.tif", SectionPath.drawn([(9.955, 20.205), (15.055, 22.755)]))
    assert panel.vertical == pytest.approx([0.005, 0.015])
    assert panel.in_depth
    x = np.linspace(9.955, 15.055, len(panel.distance_m))
    y = np.linspace(20.205, 22.755, len(panel.distance_m))
    known = (x > 10.21) & (x < 14.99)
    assert np.isnan(panel.values[(x < 10.19) | (x > 15.01)]).all()
    assert np.abs(16 * panel.values[known, 0] - (x[known] - 10) / 0.01 + 0.5).max() <= 0.501
    assert np.abs(16 * panel.values[known, 1] - (23 - y[known]) / 0.01 + 0.5).max() <= 0.501
