"""The migration operator against a plain loop over image points, and its guards."""

import numpy as np
import pytest
from synthetic import FREQUENCY_GHZ, SEPARATION_M, SPEED_M_NS, prepared_area, prepared_line, time_axis, wave_speed

from inslab.processing.radar.focus import focus
from inslab.processing.radar.line_groups import GroupImages, group_lines
from inslab.processing.radar.migration import (
    APERTURE_M,
    APERTURE_MARGIN_M,
    APERTURE_SLOPE,
    NOMINAL_RADIUS_M,
    ImageGrid,
    migration_operator,
)

TIME = np.arange(0.0, 6.0, 0.018)


def sum_by_loops(traces, trace_m, grid, axis, crossing):
    """Diffraction summation as one would write it down: Schneider 1978, Geophysics 43, 49-76, eq. for two dimensions, with the
    two legs in space and linear interpolation in time.
    """
    cell = 0.5 * np.array([trace_m[1] - trace_m[0], *(trace_m[2:] - trace_m[:-2]), trace_m[-1] - trace_m[-2]])
    cell[[0, -1]] *= 2
    out = np.zeros(grid.shape)
    normal = np.array([np.cos(crossing), -np.sin(crossing)])
    for i, u in enumerate(grid.distance_m):
        for j, z in enumerate(grid.depth_m):
            for k, place in enumerate(trace_m):
                x = place - u
                if abs(x) > min(APERTURE_M, APERTURE_SLOPE * z + APERTURE_MARGIN_M):
                    continue
                half = 0.5 * SEPARATION_M * (np.array([1.0, 0.0]) if axis == "across" else np.array([0.0, 1.0]))
                # Across and along the bar, both dipoles; unfolded along the bar.
                legs = [np.hypot(normal @ ([x, 0.0] + sign * half), z + NOMINAL_RADIUS_M) for sign in (-1, 1)]
                along = 2 * abs(half @ [np.sin(crossing), np.cos(crossing)])
                path = np.hypot(sum(legs) - 2 * NOMINAL_RADIUS_M, along)
                t = path / SPEED_M_NS
                value = np.interp(t, TIME, traces[k], right=0.0)
                out[i, j] += value * z / np.hypot(x * np.cos(crossing), z) * np.sqrt(t) * cell[k]
    return out


@pytest.mark.parametrize(("axis", "crossing"), [("across", 0.0), ("along", 0.0), ("across", 0.5), ("along", 0.5)])
def test_image_is_the_sum_along_the_two_leg_path(axis, crossing):
    random = np.random.default_rng(2)
    trace_m = np.sort(random.uniform(0, 0.4, 25))  # uneven on purpose
    grid = ImageGrid(np.linspace(0.1, 0.3, 5), np.array([0.02, 0.06, 0.15, 0.24]))
    traces = random.normal(size=(25, len(TIME)))
    operator = migration_operator(trace_m, TIME, grid, SPEED_M_NS, SEPARATION_M, axis, crossing)
    assert operator.shape == (20, 25 * len(TIME))
    got = (operator @ traces.ravel()).reshape(grid.shape)
    wanted = sum_by_loops(traces, trace_m, grid, axis, crossing)
    assert got == pytest.approx(wanted, abs=2e-5 * np.abs(wanted).max())


def test_uneven_traces_weigh_as_much_as_even_ones():
    grid = ImageGrid(np.array([0.25]), np.array([0.05, 0.1, 0.15]))
    even = np.linspace(0, 0.5, 101)
    uneven = np.sort(np.concatenate([np.linspace(0, 0.5, 51), np.linspace(0.2, 0.24, 30)]))

    def total(trace_m):
        return migration_operator(trace_m, TIME, grid, SPEED_M_NS, SEPARATION_M, "across").sum(axis=1).A1

    # The sum of weights is the same integral over the line.
    assert total(uneven) == pytest.approx(total(even), rel=0.03)


def test_traces_beyond_the_aperture_do_not_count():
    trace_m = np.linspace(0, 1, 101)
    grid = ImageGrid(np.array([0.5]), np.array([0.02, 0.1, 0.2]))
    operator = migration_operator(trace_m, TIME, grid, SPEED_M_NS, SEPARATION_M, "across")
    for row, depth in enumerate(grid.depth_m):
        used = np.unique(operator[row].indices // len(TIME))
        reach = min(APERTURE_M, APERTURE_SLOPE * depth + APERTURE_MARGIN_M)
        assert np.abs(trace_m[used] - 0.5).max() == pytest.approx(reach, abs=0.01)
        assert np.abs(trace_m[used] - 0.5).max() <= reach + 1e-9


def test_coarse_traces_are_guarded_against_aliasing():
    # Neighbouring traces may differ by half a period: 2 dx sin(angle)/v <= 1/(2 f), so sin(angle) <= v/(4 f dx).
    spacing, depth = 0.03, 0.2
    trace_m = np.arange(0, 1.0001, spacing)
    grid = ImageGrid(np.array([trace_m[16]]), np.array([depth]))
    operator = migration_operator(
        trace_m, TIME, grid, SPEED_M_NS, SEPARATION_M, "across", centre_frequency_ghz=FREQUENCY_GHZ
    )
    offset = trace_m[np.unique(operator.indices // len(TIME))] - trace_m[16]
    largest = np.abs(offset / np.hypot(offset, depth)).max()
    limit = SPEED_M_NS / (4 * FREQUENCY_GHZ * spacing)
    assert limit - 0.12 < largest <= limit + 1e-9
    fine = migration_operator(
        np.arange(0.0, 1.0, 0.01), TIME, grid, SPEED_M_NS, SEPARATION_M, "across", centre_frequency_ghz=FREQUENCY_GHZ
    )
    # At 10 mm the limit exceeds 1: nothing is left out.
    assert len(np.unique(fine.indices // len(TIME))) == 2 * round(APERTURE_M / 0.01) + 1


def test_points_outside_the_record_are_empty():
    grid = ImageGrid(np.array([0.2]), np.array([0.1, 0.9]))
    operator = migration_operator(np.linspace(0, 0.4, 41), TIME, grid, SPEED_M_NS, SEPARATION_M, "across")
    assert operator[0].nnz > 0
    assert operator[1].nnz == 0


def test_line_of_one_trace_can_be_migrated():
    grid = ImageGrid(np.array([0.1]), np.array([0.05]))
    operator = migration_operator(np.array([0.1]), TIME, grid, SPEED_M_NS, SEPARATION_M, "across")
    assert operator.nnz == 2


@pytest.mark.parametrize(("axis", "crossing"), [("across", 0.0), ("along", 0.0), ("across", 0.35), ("along", 0.35)])
def test_chosen_points_get_the_value_of_the_whole_image(axis, crossing):
    random = np.random.default_rng(4)
    time = time_axis(5.0)
    lines = [
        prepared_line(f"x{n}", axis, (0, 0.1 * n), (0.6, 0.1 * n), random.normal(size=(61, len(time))))
        for n in range(3)
    ]
    prepared = prepared_area(lines, time)
    grid = ImageGrid(np.linspace(0.2, 0.4, 41), np.linspace(0.03, 0.15, 25))
    images = GroupImages(prepared, group_lines(prepared)[0], wave_speed(), grid)
    whole = images.image(axis, crossing)
    step_u, step_z = np.array([-0.01, 0.0, 0.02]), np.array([-0.01, 0.0, 0.015])
    # No depth whose aperture (1.3 z + 30 mm) ends just on a trace: rounding would decide about it.
    u, z = np.array([0.25, 0.3, 0.35]), np.array([0.08, 0.09, 0.105])
    patches = focus(images, axis, images.traces[axis], u, z, step_u, step_z, crossing)
    for n in range(3):
        for i, du in enumerate(step_u):
            for j, dz in enumerate(step_z):
                column = np.argmin(np.abs(grid.distance_m - u[n] - du))
                level = np.argmin(np.abs(grid.depth_m - z[n] - dz))
                assert patches[n, i, j] == pytest.approx(
                    whole[n, column, level], rel=1e-3, abs=1e-3 * float(np.abs(whole).max())
                )
