"""Laps of bars: two bars where the spacing allows it, one course with a step where it does not."""

import numpy as np
import pytest
from synthetic import bar_paths, echo, grid_of_lines, prepared_area, prepared_line, ricker, time_axis, wave_speed

from inslab.processing.items.detect import detect_items
from inslab.processing.survey.model import DIPOLE_AXES
from inslab.processing.tracks.lap_splice import split_at_lap
from inslab.processing.tracks.refine import Sightings

SIZE_M, DEPTH_M, FIRST_M = (0.45, 1.0), 0.05, 0.22
ENDS_M = (0.6, 0.4)  # the first bar ends where it has run beside the second for 0.2 m


def lapped(step_m):
    """A mat of three bars along y, the middle one of two pieces that lap, `step_m` apart."""
    time, random, lines = time_axis(), np.random.default_rng(5), []
    bars = [(0.07, -1.0, 2.0), (0.37, -1.0, 2.0), (FIRST_M, -1.0, ENDS_M[0]), (FIRST_M + step_m, ENDS_M[1], 2.0)]
    crossing = [line for line in grid_of_lines(SIZE_M, 0.05) if line[0].startswith("x")]
    for line_id, start, end in crossing:
        count = round(np.hypot(*np.subtract(end, start)) / 0.02) + 1
        y = np.linspace(start, end, count)[:, 1]
        for axis in DIPOLE_AXES:
            traces = np.tile(-ricker(time), (count, 1)) + random.normal(0, 2e-3, (count, len(time)))
            for x, low, high in bars:
                there = ((y >= low) & (y <= high))[:, None]
                paths = bar_paths(start, end, count, axis, (x, 0.0, DEPTH_M), (0.0, 1.0, 0.0), 0.008)
                traces += there * echo(time, paths, -0.25 if axis == "across" else -0.15)
            lines.append(prepared_line(line_id, axis, start, end, traces))
    return prepared_area(lines, time)


@pytest.mark.parametrize("step_m", [0.020, 0.055])
def test_two_bars_each_with_its_end(step_m):
    _, items = detect_items(lapped(step_m), wave_speed())
    middle = [
        item
        for item in items
        if item.vertices_m[:, 2].max() < 0.07 and FIRST_M - 0.03 < item.vertices_m[:, 0].mean() < FIRST_M + 0.09
    ]
    first, second = sorted(middle, key=lambda item: item.vertices_m[:, 0].mean())
    for item, x in ((first, FIRST_M), (second, FIRST_M + step_m)):
        assert np.median(item.vertices_m[:, 0]) == pytest.approx(x, abs=0.005)
        assert item.kind == "bar"
    # Each reaches its own edge of the area, and stops where the bar does, or where two bars cannot be told apart.
    assert first.vertices_m[:, 1].min() < 0.06 < 0.94 < second.vertices_m[:, 1].max()
    assert 0.34 < first.vertices_m[:, 1].max() < 0.66
    assert 0.34 < second.vertices_m[:, 1].min() < 0.66
    if step_m < 0.03:
        assert "a lap" in first.reasons
        assert min(first.sigma_xy_m, second.sigma_xy_m) > 0.3 * step_m


def sightings_of(u):
    w = np.linspace(-0.5, 0.5, len(u))
    return Sightings(None, w, np.asarray(u, float), u * 0, {}, np.ones(len(u)), {}, {}, {}, {}, "across")


@pytest.mark.parametrize("seed", range(20))
def test_scatter_of_a_straight_bar_is_no_lap(seed):
    u = 0.3 + 0.05 * np.linspace(-0.5, 0.5, 21) + np.random.default_rng(seed).normal(0, 0.003, 21)
    parts, step = split_at_lap(sightings_of(u), np.ones(21, bool))
    assert len(parts) == 1
    assert step == 0.0


def test_step_is_found_where_it_is():
    u = 0.3 + 0.02 * (np.arange(21) >= 8) + np.random.default_rng(1).normal(0, 0.002, 21)
    parts, step = split_at_lap(sightings_of(u), np.ones(21, bool))
    assert [int(part.sum()) for part in parts] == [8, 13]
    assert step == pytest.approx(0.02, abs=0.003)


def test_three_passes_are_too_few_for_a_bar_of_a_lap():
    u = 0.3 + 0.02 * (np.arange(12) >= 9)
    assert split_at_lap(sightings_of(u), np.ones(12, bool))[1] == 0.0
