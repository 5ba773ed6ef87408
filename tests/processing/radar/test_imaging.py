"""The depth volume over bars of known place and depth."""

import numpy as np
import pytest
from synthetic import SPEED_M_NS, area_over, prepared_area

from inslab.processing.common.errors import Cancelled
from inslab.processing.common.monitor import Monitor
from inslab.processing.radar.imaging import find_base, image_area, recorded_depth_m
from inslab.processing.radar.model import SlabBase

X_M, Z_M = 0.25, 0.10
BAR = [((X_M, 0.0, Z_M), (0.0, 1.0, 0.0), -0.2)]


def no_base():
    nothing = np.full((2, 2), np.nan)
    return SlabBase("A1", np.zeros(2), np.zeros(2), nothing, nothing)


@pytest.fixture(scope="module")
def over_one_bar():
    return area_over(BAR, base_m=0.3)


def test_bar_is_where_it_lies_and_as_deep(over_one_bar):
    prepared, speed = over_one_bar
    volume = image_area(prepared, speed, no_base(), cell_m=0.01, depth_step_m=0.002, max_depth_m=0.16)
    row = np.argmin(np.abs(volume.y_m - 0.25))  # between two lines
    slice_ = volume.strength_db[row]
    column, level = np.unravel_index(np.nanargmax(slice_), slice_.shape)
    assert volume.x_m[column] == pytest.approx(X_M, abs=0.006)
    # The envelope of a Ricker pulse has its maximum at the extremum: no lag. Slices are 2 mm thick.
    assert volume.depth_m[level] == pytest.approx(Z_M, abs=0.002)


def test_axes_and_units_of_the_volume(over_one_bar):
    prepared, speed = over_one_bar
    base = find_base(prepared, speed, cell_m=0.02)
    volume = image_area(prepared, speed, base, cell_m=0.02, depth_step_m=0.01)
    assert volume.strength_db.shape == (len(volume.y_m), len(volume.x_m), len(volume.depth_m))
    assert volume.strength_db.dtype == np.float32
    assert np.diff(volume.x_m) == pytest.approx(0.02)
    assert volume.depth_m[:2] == pytest.approx([0.005, 0.015])
    # No more than 50 mm below the base, which is seen.
    assert volume.depth_m[-1] + 0.005 == pytest.approx(np.nanmedian(base.thickness_m) + 0.05, abs=0.006)
    assert base.thickness_m.shape == volume.strength_db.shape[:2]
    # Strength counts from the local noise: the middle of what is no echo is about 0 dB.
    assert abs(np.nanmedian(volume.strength_db[:, :, 20])) < 6


def test_nothing_is_claimed_beyond_the_lines_or_across_a_gap():
    prepared, speed = area_over(BAR, size_m=(0.6, 0.8), axes=("across",))
    lines = [line for line in prepared.lines if line.line.line_id in ("x00", "x01", "x02", "x06", "x07", "x08")]
    volume = image_area(prepared_area(lines, prepared.time_ns), speed, no_base(), cell_m=0.01, max_depth_m=0.15)
    known = np.isfinite(volume.strength_db).all(axis=2).all(axis=1)
    unknown = np.isnan(volume.strength_db).all(axis=2).all(axis=1)
    gap = (volume.y_m > 0.2) & (volume.y_m < 0.6)
    assert unknown[gap].all()
    assert known[~gap].all()


def test_lines_of_one_direction_show_only_what_they_cross():
    bars = [*BAR, ((0.0, 0.25, 0.05), (1.0, 0.0, 0.0), -0.2)]
    prepared, speed = area_over(bars, axes=("across",))
    lines = [line for line in prepared.lines if line.line.line_id.startswith("x")]
    volume = image_area(prepared_area(lines, prepared.time_ns), speed, no_base(), max_depth_m=0.15)
    best = np.nanmax(volume.strength_db, axis=2)
    columns = best[:, np.abs(volume.x_m - X_M) < 0.01].mean() - np.median(best)
    along = best[np.abs(volume.y_m - 0.25) < 0.01].mean() - np.median(best)
    assert columns > along + 10


def test_area_of_single_lines_has_no_volume():
    prepared, speed = area_over(BAR)
    lines = [line for line in prepared.lines if line.line.line_id in ("x00", "y00")]
    alone = prepared_area(lines, prepared.time_ns)
    assert image_area(alone, speed, no_base()) is None
    # Its base is seen all the same, below the lines.
    base = find_base(alone, speed, cell_m=0.02)
    assert base.thickness_m.shape == (len(base.y_m), len(base.x_m))


def test_cancelling_stops_it(over_one_bar):
    with pytest.raises(Cancelled):
        image_area(*over_one_bar, no_base(), monitor=Monitor(cancelled=lambda: True))


def test_recorded_depth_is_what_the_record_holds(over_one_bar):
    prepared, speed = over_one_bar
    # Record to 9 ns after the extremum, time zero 0.3 ns before it, a period of 1/1.5 ns to spare.
    expected = 0.5 * np.sqrt((SPEED_M_NS * (9.0 + 0.3 - 1 / 1.5)) ** 2 - 0.06**2)
    assert recorded_depth_m(prepared, speed) == pytest.approx(expected, abs=0.002)
