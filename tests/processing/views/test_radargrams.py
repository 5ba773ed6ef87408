"""Radargrams before they are drawn, and drawn."""

import builtins
from dataclasses import replace

import numpy as np
import pytest
from synthetic import SEPARATION_M, SPEED_M_NS, area_over, bar_paths, held_line, wave_speed

from inslab.processing.common.errors import MissingPackageError, ProcessingError
from inslab.processing.common.vocabulary.kinds import KINDS
from inslab.processing.items.model import Item, Pick
from inslab.processing.survey.model import ScanArea, Survey
from inslab.processing.views.radargram_picture import draw
from inslab.processing.views.radargrams import Crossing, choose_lines, compose_line, file_name, find_crossings, gain

PLACE_M, DEPTH_M = 0.3, 0.06


@pytest.fixture(scope="module")
def area():
    prepared, speed = area_over([((PLACE_M, 0.0, DEPTH_M), (0.0, 1.0, 0.0), -0.2)], axes=("across",))
    # What a file holds is in the recorder's units.
    for one in prepared.lines:
        one.line.held[:] = 5000 * one.traces
    return prepared, speed


@pytest.fixture(scope="module")
def picture(area):
    crossings = (Crossing("A1-001", PLACE_M, DEPTH_M, 0.0, True), Crossing("A1-007", 0.5, 0.1, 0.2, False))
    return compose_line(area[0], 1, area[1], ("raw", "processed", "migrated"), crossings)


def test_panels_show_the_bar_at_its_time_and_depth(picture):
    raw, processed, migrated = picture.panels
    column = np.argmin(np.abs(processed.distance_m - PLACE_M))
    later = processed.vertical > 0.5
    at = processed.vertical[later][np.argmin(processed.values[column, later])]
    expected = np.hypot(2 * DEPTH_M, SEPARATION_M) / SPEED_M_NS  # no radius at the apex, to 17 ps
    assert at == pytest.approx(expected, abs=0.03)
    assert picture.time_of_depth(DEPTH_M) == pytest.approx(expected)
    assert np.argmax(np.abs(raw.values[column])) == np.argmax(np.abs(raw.values[0]))  # the direct wave
    assert np.abs(raw.values).max() == pytest.approx(5000, rel=0.05)
    assert migrated.in_depth
    shallow = migrated.values[:, migrated.vertical < 0.1]  # at depth the gain raises the noise
    column, level = np.unravel_index(np.argmin(shallow), shallow.shape)
    assert migrated.distance_m[column] == pytest.approx(PLACE_M, abs=0.006)
    assert migrated.vertical[level] == pytest.approx(DEPTH_M, abs=0.006)


def test_expected_course_is_the_shortest_path(picture):
    distance, time = picture.course(picture.crossings[0])
    paths = bar_paths(
        (distance[0], 0.0),
        (distance[-1], 0.0),
        len(distance),
        "across",
        (PLACE_M, 0.0, DEPTH_M),
        (0.0, 1.0, 0.0),
        0.008,
    )
    assert time == pytest.approx(paths / SPEED_M_NS, abs=1e-9)


def test_gain_undoes_spreading_and_attenuation():
    time = np.arange(0.0, 8.0, 0.02)
    random = np.random.default_rng(0)
    level = np.exp(-0.6 * np.maximum(time, 0.5)) / np.maximum(time, 0.5)
    traces = random.normal(0, 1, (400, len(time))) * level
    even = np.median(np.abs(traces * gain(traces, time, 0.667)), axis=0)[40:]
    assert even.std() / even.mean() < 0.1
    # Growing levels are no attenuation: nothing but spreading is then undone.
    grown = gain(random.normal(0, 1, (50, len(time))) * np.exp(time), time, 0.667)
    assert grown[time > 0.667] == pytest.approx(time[time > 0.667])


def test_crossings_come_from_items_and_picks():
    line = held_line(np.zeros((31, 10)), "x1", start=(0.0, 0.2), end=(0.6, 0.2))
    probabilities = dict.fromkeys(KINDS, 0.2)

    def item(name, *vertices):
        return Item(name, ("A1",), np.array(vertices, float), probabilities, 0.9, 0.003, 0.003, 4)

    items = [
        item("A1-001", (0.1, 0.0, 0.05), (0.1, 0.4, 0.07)),  # square, sloping
        item("A1-002", (0.3, 0.0, 0.08), (0.5, 0.4, 0.08)),  # oblique
        item("A1-003", (0.0, 0.25, 0.05), (0.6, 0.25, 0.05)),  # beside the line
        item("A1-004", (0.9, 0.0, 0.05), (0.9, 0.4, 0.05)),  # beyond its end
    ]
    pick = Pick("A1-002-02", "A1-002", "A1", "x1", 0.405, 0.2, 0.083, 0.002, 0.002, -1, 20.0, 0.0)
    other = replace(pick, line_id="x2", item_id="A1-001")
    area = ScanArea("A1", "L1", "top", SEPARATION_M, 1500.0, lines=(line,))
    first, second = find_crossings(area, line, [pick, other], items, {"A1-002": "S7-010"})
    assert (first.label, first.picked, second.label, second.picked) == ("A1-001", False, "S7-010", True)
    assert (first.distance_m, first.depth_m, first.crossing_rad) == pytest.approx((0.1, 0.06, 0.0))
    # The pick says where this line sees it.
    assert (second.distance_m, second.depth_m) == pytest.approx((0.405, 0.083))
    assert second.crossing_rad == pytest.approx(np.arctan(0.5))


def test_lines_are_chosen_in_words(tmp_path):
    pairs = [(line, axis) for line in ("x1", "x2") for axis in ("across", "along")]
    lines = [held_line(np.zeros((2, 5)), *pair) for pair in pairs]
    areas = []
    for area_id in ("A1", "A2"):
        own = tuple(replace(line, area_id=area_id) for line in lines)
        areas.append(ScanArea(area_id, "L1", "top", 0.06, 1500.0, lines=own))
    survey = Survey(tmp_path, tuple(areas))

    def names(text):
        return [(line.area_id, line.name) for lines in choose_lines(survey, text).values() for line in lines]

    assert len(names("")) == 8
    assert names("A1/x2") == [("A1", "x2 across"), ("A1", "x2 along")]
    assert len(names(" A2 ;A1/x1\n")) == 6
    with pytest.raises(ProcessingError, match="no area or line A3, A1/x9;"):
        choose_lines(survey, "A3, A1/x1, A1/x9")


def test_file_names_suit_every_file_system():
    line = replace(held_line(np.zeros((2, 5)), "x 1/2:b"), area_id="Süd.3")
    assert file_name(line) == "Süd.3_x_1_2_b_across.png"


def test_picture_is_drawn_the_same_twice(picture, tmp_path):
    for name in ("first.png", "second.png"):
        draw(picture, tmp_path / name)
    content = (tmp_path / "first.png").read_bytes()
    assert content == (tmp_path / "second.png").read_bytes()
    # The figure is grey, marks and all: red, green and blue are equal in every pixel.
    from matplotlib.image import imread

    pixels = imread(tmp_path / "first.png")[..., :3]
    assert np.ptp(pixels, axis=2).max() == 0
    assert pixels.std() > 0.1


def test_line_of_one_trace_can_be_drawn(area, tmp_path):
    prepared, speed = area
    one = prepared.lines[0]
    line = held_line(one.line.held[:1], "dot", end=(0.01, 0.0))
    short = replace(one, line=line, distances_m=one.distances_m[:1], traces=one.traces[:1])
    alone = replace(prepared, lines=(short,))
    draw(compose_line(alone, 0, speed, ("raw", "processed", "migrated"), ()), tmp_path / "dot.png")
    assert (tmp_path / "dot.png").stat().st_size > 5000


def test_missing_drawing_package_is_said(picture, tmp_path, monkeypatch):
    real = builtins.__import__

    def refuse(name, *rest):
        if name.startswith("matplotlib"):
            raise ModuleNotFoundError(name)
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", refuse)
    with pytest.raises(MissingPackageError, match="that are not installed: matplotlib"):
        draw(picture, tmp_path / "x.png")


def test_speed_is_stated(picture):
    assert (picture.speed_m_ns, picture.sigma_m_ns) == (wave_speed().speed_m_ns, wave_speed().sigma_m_ns)
    assert picture.title == "Area A1, line x01, dipoles across the direction of travel"
