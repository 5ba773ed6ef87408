"""Sorting lines into directions and passes."""

import numpy as np
import pytest
from synthetic import prepared_area, prepared_line, ricker, time_axis, wave_speed

from inslab.processing.radar.line_groups import GroupImages, group_lines, scattered_traces, thinned
from inslab.processing.radar.migration import ImageGrid

TIME = time_axis(4.0)


def line(line_id, start, end, axis="across", count=21, mark=False):
    """A line whose first trace is marked by its size, so that turning it round shows."""
    traces = np.tile(-ricker(TIME), (count, 1))
    traces *= np.linspace(2.0, 1.0, count)[:, None] if mark else 1.0
    return prepared_line(line_id, axis, start, end, traces)


def test_directions_and_offsets_are_sorted():
    lines = [
        line("x2", (0, 0.2), (0.5, 0.2)),
        line("x0", (0, 0.0), (0.5, 0.0)),
        line("y1", (0.3, 0), (0.3, 0.4)),
        line("x1", (0, 0.1), (0.5, 0.1)),
        line("y0", (0.0, 0), (0.0, 0.4)),
    ]
    first, second = group_lines(prepared_area(lines, TIME))
    assert [one.line_id for one in first.passes] == ["x0", "x1", "x2"]
    assert first.offsets_m == pytest.approx([0.0, 0.1, 0.2])
    assert first.extent_m == pytest.approx((0.0, 0.5))
    # In the second group u runs along +y, w to its left: -x.
    assert [one.line_id for one in second.passes] == ["y1", "y0"]
    assert second.offsets_m == pytest.approx([-0.3, 0.0])
    assert second.spacing_m == pytest.approx(0.3)


def test_both_dipole_axes_of_a_pass_meet():
    lines = [line("x0", (0, 0), (0.5, 0)), line("x0", (0, 0), (0.5, 0), "along"), line("x1", (0, 0.1), (0.5, 0.1))]
    (group,) = group_lines(prepared_area(lines, TIME))
    assert [sorted(one.lines) for one in group.passes] == [["across", "along"], ["across"]]
    images = GroupImages(
        prepared_area(lines, TIME), group, wave_speed(), ImageGrid(np.array([0.2, 0.3]), np.array([0.05, 0.1]))
    )
    assert images.has["along"].tolist() == [True, False]
    assert not images.traces["along"][1].any()
    assert not images.image("along")[1].any()


def test_reversed_line_is_turned_round():
    lines = [line("x0", (0, 0), (0.5, 0), mark=True), line("x1", (0.5, 0.1), (0.0, 0.1), mark=True)]
    (group,) = group_lines(prepared_area(lines, TIME))
    forth, back = (one.lines["across"] for one in group.passes)
    assert [one.start_m for one in group.passes] == pytest.approx([0.0, 0.0])
    assert back.distances_m == pytest.approx(forth.distances_m)
    assert np.abs(forth.traces[:, :]).max(axis=1)[[0, -1]] == pytest.approx([2.0, 1.0], abs=0.01)
    assert np.abs(back.traces[:, :]).max(axis=1)[[0, -1]] == pytest.approx([1.0, 2.0], abs=0.01)


def test_uneven_positions_of_a_reversed_line_keep_their_traces():
    from dataclasses import replace

    one = line("x0", (0.5, 0.1), (0.0, 0.1), count=5, mark=True)
    places = np.array([0.5, 0.48, 0.30, 0.1, 0.0])
    held = replace(one.line, positions_m=np.column_stack([places, np.full(5, 0.1)]))
    one = replace(one, line=held, distances_m=held.distances_m())
    (group,) = group_lines(prepared_area([one, line("x1", (0, 0.2), (0.5, 0.2))], TIME))
    turned = group.passes[0].lines["across"]
    assert group.passes[0].start_m + turned.distances_m == pytest.approx(places[::-1])
    assert np.abs(turned.traces).max(axis=1) == pytest.approx(np.linspace(1.0, 2.0, 5), abs=0.01)


@pytest.mark.parametrize("degrees", [30, 45, -20, 135])
def test_oblique_grid_makes_two_groups(degrees):
    angle = np.radians(degrees)
    travel, left = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    lines = []
    for n in range(3):
        lines.append(line(f"x{n}", 0.1 * n * left, 0.1 * n * left + 0.5 * travel))
        lines.append(line(f"y{n}", 0.1 * n * travel, 0.1 * n * travel + 0.5 * left))
    groups = group_lines(prepared_area(lines, TIME))
    assert sorted(len(group.passes) for group in groups) == [3, 3]
    for group in groups:
        places = np.array([[0.1, 0.2], [0.3, -0.1]])
        assert group.to_local(*group.from_local(places)) == pytest.approx(places)
        assert np.diff(group.offsets_m) == pytest.approx([0.1, 0.1])


def test_slightly_skew_lines_count_as_parallel():
    lines = [line("x0", (0, 0), (0.5, 0)), line("x1", (0, 0.1), (0.5, 0.12)), line("z", (0, 0), (0.5, 0.1))]
    groups = group_lines(prepared_area(lines, TIME))
    assert [sorted(one.line_id for one in group.passes) for group in groups] == [["x0", "x1"], ["z"]]


def test_what_all_traces_share_is_taken_off_and_what_changes_stays():
    count = 101
    traces = np.tile(-ricker(TIME) + 0.5 * ricker(TIME - 2.0), (count, 1))
    traces[50] += ricker(TIME - 1.5)
    one = prepared_line("x0", "across", (0, 0), (1.0, 0), traces)
    left = scattered_traces(one, TIME[1] - TIME[0], 1.5)
    # A flat layer is a mean over 0.6 m (61 traces) and goes; a single trace keeps all but its own part of the mean.
    assert np.abs(left[5]).max() < 1e-4
    assert left[50].max() == pytest.approx(1.0, abs=0.05)


def test_replacing_traces_forgets_their_images_only():
    lines = [line(f"x{n}", (0, 0.1 * n), (0.5, 0.1 * n), axis) for n in range(2) for axis in ("across", "along")]
    prepared = prepared_area(lines, TIME)
    images = GroupImages(
        prepared, group_lines(prepared)[0], wave_speed(), ImageGrid(np.array([0.2, 0.3]), np.array([0.05, 0.1]))
    )
    random = np.random.default_rng(0)
    images.replace_traces("across", random.normal(size=images.traces["across"].shape).astype(np.complex64))
    across, along = images.image("across"), images.image("along")
    images.replace_traces("across", 2 * images.traces["across"])
    assert images.image("across") == pytest.approx(2 * across)
    assert images.image("along") is along


def test_dense_traces_are_averaged_up_to_a_sixth_of_the_wavelength():
    distances = np.arange(0.0, 0.0451, 0.005)
    traces = np.outer(1 + np.arange(10), np.ones(3)).astype(np.float32)
    means, places = thinned(traces, distances, 0.0111)
    assert places == pytest.approx([0.0025, 0.0125, 0.0225, 0.0325, 0.0425])
    assert means[:, 0] == pytest.approx([1.5, 3.5, 5.5, 7.5, 9.5])
    means, places = thinned(traces, distances, 0.015)  # three each; the last stands alone
    assert places == pytest.approx([0.005, 0.020, 0.035, 0.045])
    assert means[-1, 0] == pytest.approx(10.0)
    assert means.dtype == traces.dtype
    assert thinned(traces, distances, 0.009)[0] is traces
