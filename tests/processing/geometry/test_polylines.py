"""Lengths, stations and nearest places of polylines against shapely, and by hand."""

import numpy as np
import pytest
import shapely.geometry as sg

from inslab.processing.geometry.polylines import (
    evenly_spaced,
    length_in_space_m,
    length_m,
    middle_of,
    nearest_on,
    points_at,
    stations_m,
)

BENT = np.array([(0.0, 0.0, 0.10), (3.0, 0.0, 0.20), (3.0, 4.0, 0.40)])


@pytest.fixture(params=range(5), ids="line {}".format)
def crooked(request):
    """Vertices of a crooked line, and the same in shapely (in plan)."""
    random = np.random.default_rng(request.param)
    line = np.column_stack([np.cumsum(random.normal(size=(9, 2)), axis=0), random.uniform(0, 1, 9)])
    return line, sg.LineString(line[:, :2])


def test_a_bent_line_by_hand():
    assert length_m(BENT) == 7.0
    assert stations_m(BENT).tolist() == [0.0, 3.0, 7.0]
    assert points_at(BENT, [-1.0, 1.5, 5.0, 9.0]) == pytest.approx(
        np.array([(0.0, 0.0, 0.10), (1.5, 0.0, 0.15), (3.0, 2.0, 0.30), (3.0, 4.0, 0.40)])
    )
    assert middle_of(BENT) == pytest.approx([3.0, 0.5, 0.225])


def test_heights_do_not_lengthen():
    steep = [(0.0, 0.0, 0.0), (1.0, 0.0, 5.0)]
    assert length_m(steep) == 1.0
    assert stations_m(steep).tolist() == [0.0, 1.0]


def test_heights_lengthen_in_space_only():
    """Diagonals of boxes with whole sides (Pythagorean quadruples), one after the other: 1, 2, 2 has 3, and 2, 3, 6 has 7."""
    line = [(0.0, 0.0, 0.0), (1.0, 2.0, 2.0), (3.0, 5.0, 8.0)]
    assert length_in_space_m(line) == 10.0
    assert length_in_space_m(BENT[:, :2]) == length_m(BENT)
    assert length_in_space_m([(1.0, 2.0, 3.0)]) == 0.0


def test_length_and_points_as_in_shapely(crooked):
    line, shape = crooked
    assert length_m(line) == pytest.approx(shape.length, rel=1e-14)
    at = np.linspace(-0.5, shape.length + 0.5, 40)
    expected = [shape.interpolate(min(max(one, 0.0), shape.length)).coords[0] for one in at]
    assert points_at(line, at)[:, :2] == pytest.approx(np.array(expected), abs=1e-12)


def test_nearest_places_as_in_shapely(crooked):
    line, shape = crooked
    places = np.random.default_rng(11).uniform(-4, 4, (200, 2))
    station, distance, foot = nearest_on(line, places)
    points = [sg.Point(place) for place in places]
    assert distance == pytest.approx([shape.distance(point) for point in points], abs=1e-12)
    assert station == pytest.approx([shape.project(point) for point in points], abs=1e-9)
    assert foot[:, :2] == pytest.approx(
        np.array([shape.interpolate(shape.project(point)).coords[0] for point in points]), abs=1e-9
    )
    assert foot == pytest.approx(points_at(line, station), abs=1e-9)  # the third coordinate with them


def test_nearest_by_hand_with_the_height_between_two_vertices():
    station, distance, foot = nearest_on([(0.0, 0.0, -0.1), (4.0, 0.0, -0.3)], [(1.0, 3.0, 9.0), (9.0, 0.0, 7.0)])
    assert station == pytest.approx([1.0, 4.0])
    assert distance == pytest.approx([3.0, 5.0])
    assert foot == pytest.approx(np.array([(1.0, 0.0, -0.15), (4.0, 0.0, -0.3)]))


def test_a_place_between_two_arms_goes_to_the_first():
    station, distance, _ = nearest_on([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)], [(0.25, 0.5)])
    assert (station, distance) == (pytest.approx([0.25]), pytest.approx([0.5]))


def test_a_single_vertex_and_one_that_repeats():
    station, distance, foot = nearest_on([(1.0, 1.0, -0.2)], [(4.0, 5.0)])
    assert (station.tolist(), distance.tolist(), foot.tolist()) == ([0.0], [5.0], [[1.0, 1.0, -0.2]])
    twice = BENT[[0, 1, 1, 2]]
    places = [(2.9, 1.0), (3.5, -0.5), (0.0, 2.0)]
    for one, other in zip(nearest_on(twice, places), nearest_on(BENT, places)):
        assert one == pytest.approx(other)
    assert points_at(twice, [1.0, 3.0, 6.0]) == pytest.approx(points_at(BENT, [1.0, 3.0, 6.0]))


def test_evenly_spaced_points_keep_both_ends_and_the_spacing():
    assert evenly_spaced(BENT, 3.5) == pytest.approx(np.array([BENT[0], [3, 0.5, 0.225], [3, 4, 0.4]]))
    assert len(evenly_spaced(BENT, 0.1)) == 71  # a whole number of spacings, which rounding must not change
    points = evenly_spaced(BENT, 2.0)
    assert np.diff(stations_m(points)).max() <= 2.0
    assert points[[0, -1]].tolist() == BENT[[0, -1]].tolist()
    assert evenly_spaced(BENT[[1, 1]], 0.1).tolist() == BENT[[1, 1]].tolist()


def test_stations_measured_another_way():
    """As those of an antenna whose wheel runs two per cent long."""
    assert points_at(BENT, [3.06, 5.1], 1.02 * stations_m(BENT)) == pytest.approx(points_at(BENT, [3.0, 5.0]))
