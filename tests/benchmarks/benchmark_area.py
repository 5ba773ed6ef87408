"""How fast each step of one area is; measured, never asserted."""

import numpy as np
import pytest
from synthetic import SPEED_M_NS

from inslab.processing.items.detect import detect_items
from inslab.processing.radar.imaging import find_base, image_area
from inslab.processing.radar.line_groups import GroupImages, group_lines
from inslab.processing.radar.migration import ImageGrid, migration_operator
from inslab.processing.radar.preprocessing import prepare_area
from inslab.processing.speed.bar_echoes import estimate_wave_speed
from inslab.processing.speed.direct_wave import fit_direct_wave


def compare(seconds, yardstick):
    reading, transforming = yardstick
    print(
        f"    {seconds / reading:.1f} x reading the files, {seconds / transforming:.1f} x rfft and irfft, "
        f"{seconds / (reading + transforming):.1f} x both"
    )


def test_read(measure, area):
    measure(lambda: [line.read_traces() for line in area.lines])


def test_prepare(measure, area, yardstick):
    compare(measure(prepare_area, area), yardstick)


def test_direct_wave(measure, prepared, yardstick):
    compare(measure(fit_direct_wave, prepared), yardstick)


def test_wave_speed(measure, prepared, yardstick):
    compare(measure(estimate_wave_speed, prepared, rounds=1), yardstick)


def test_slab_base(measure, prepared, speed, yardstick):
    compare(measure(find_base, prepared, speed), yardstick)


def test_migrate_one_direction(measure, prepared, speed, yardstick):
    group = group_lines(prepared)[0]
    grid = ImageGrid(np.arange(0.0, 1.0, 0.005), np.arange(0.012, 0.4, SPEED_M_NS / 1.5 / 32))
    compare(measure(lambda: GroupImages(prepared, group, speed, grid).image("across"), rounds=2), yardstick)


def test_slices(measure, prepared, speed, yardstick):
    base = find_base(prepared, speed)
    compare(measure(image_area, prepared, speed, base, rounds=2), yardstick)


def test_detect(measure, prepared, speed, yardstick):
    base = find_base(prepared, speed)
    compare(measure(detect_items, prepared, speed, base, rounds=1), yardstick)


def test_slices_of_an_area_from_its_files(measure, area, speed, yardstick):
    """The radar chain without the fit of the wave speed: reading, preparing, slab base, migration, depth volume."""

    def chain():
        prepared = prepare_area(area)
        image_area(prepared, speed, find_base(prepared, speed))

    compare(measure(chain, rounds=2), yardstick)


def test_whole_area(measure, area, yardstick):
    def chain():
        prepared = prepare_area(area)
        speed = estimate_wave_speed(prepared)
        base = find_base(prepared, speed)
        image_area(prepared, speed, base)
        detect_items(prepared, speed, base)

    compare(measure(chain, rounds=1), yardstick)


@pytest.mark.filterwarnings("ignore:A new implementation of Kirchhoff:FutureWarning")
def test_migration_beside_pylops(measure, prepared):
    """One line, the same image points and travel times: operator made and used once, ours and PyLops' (numpy engine)."""
    from time import perf_counter

    from synthetic import SEPARATION_M

    waveeqprocessing = pytest.importorskip("pylops.waveeqprocessing")
    one = prepared.lines[0]
    time = np.arange(0.0, 6.0, prepared.interval_ns)
    traces = one.traces[:, : len(time)]
    grid = ImageGrid(np.arange(0.0, 1.0, 0.01), np.arange(0.02, 0.2, 0.005))

    def ours():
        return migration_operator(one.distances_m, time, grid, SPEED_M_NS, SEPARATION_M, "across") @ traces.ravel()

    def theirs():
        image = 0.0
        for place, trace in zip(one.distances_m, traces):
            ends = (np.array([[place + sign * SEPARATION_M / 2], [0.0]]) for sign in (-1, 1))
            operator = waveeqprocessing.Kirchhoff(
                grid.depth_m,
                grid.distance_m,
                time,
                *ends,
                SPEED_M_NS,
                np.array([1.0]),
                0,
                mode="analytic",
                engine="numpy",
            )
            image = image + operator.H @ trace
        return image

    seconds = measure(ours)
    start = perf_counter()
    theirs()
    theirs_s = perf_counter() - start
    print(f"    PyLops {theirs_s:.3f} s, {theirs_s / seconds:.1f} times as long (it takes the whole line as aperture)")
