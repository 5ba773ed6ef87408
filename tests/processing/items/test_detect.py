"""Detection on traces of the sample project's forward model, against what it put into the concrete."""

from dataclasses import replace

import numpy as np
import pytest
import surveys
from truth import compare

from inslab.processing.common.errors import Cancelled
from inslab.processing.common.monitor import Monitor
from inslab.processing.items.detect import detect_items
from inslab.processing.radar.imaging import find_base
from inslab.processing.radar.model import WaveSpeed
from inslab.processing.radar.preprocessing import prepare_area
from inslab.processing.survey.read import read_survey
from inslab.sample_project.forward import ScanModel
from inslab.sample_project.generate import RADAR, write_survey
from inslab.sample_project.scan_plan import AREAS


@pytest.fixture(scope="module")
def found(small_survey):
    """Prepared area, true wave speed, and what detection finds with it."""
    area = read_survey(small_survey).areas[0]
    prepared = prepare_area(area)
    speed = WaveSpeed("A1", surveys.SPEED_M_NS, 0.01 * surveys.SPEED_M_NS, surveys.TIME_ZERO_NS, 0.008, "known")
    base = find_base(prepared, speed)
    return prepared, speed, base, *detect_items(prepared, speed, base)


def truth():
    """(axis, place, depth) of every bar."""
    return [(axis, place, depth) for axis, bars in surveys.BARS.items() for place, depth in bars]


def runs(item):
    """Axis across which an item runs, its place on that axis, its length, and its depth."""
    start, end = item.vertices_m[[0, -1], :2]
    across = int(abs(end[0] - start[0]) > abs(end[1] - start[1]))  # 0: along y, at an x
    return (
        "xy"[across],
        item.vertices_m[:, across].mean(),
        np.linalg.norm(end - start),
        np.median(item.vertices_m[:, 2]),
    )


def test_every_bar_is_found_once_and_nothing_else(found):
    items = [runs(item) for item in found[4]]
    for axis, place, depth in truth():
        matches = [
            (at, deep)
            for over, at, length, deep in items
            if over == axis
            and abs(at - place) < 0.02
            and abs(deep - depth) < 0.02
            and length > 0.85 * surveys.SIZE_M[0 if axis == "y" else 1]
        ]
        assert len(matches) == 1, (axis, place, items)
    assert len(items) == len(truth())


def test_place_and_depth_are_right_within_what_is_stated(found):
    assert found[4]
    for item in found[4]:
        axis, place, _, depth = runs(item)
        true_place, true_depth = min(surveys.BARS[axis], key=lambda bar: abs(bar[0] - place))
        assert abs(place - true_place) < 0.004
        assert abs(depth - true_depth) < 0.006
        assert abs(depth - true_depth) < 2.6 * item.sigma_depth_m
        assert abs(place - true_place) < 2.6 * item.sigma_xy_m
        assert 0.001 < item.sigma_xy_m < 0.008
        assert 0.001 < item.sigma_depth_m < 0.008


def test_kinds_and_confidence(found):
    items = found[4]
    # Three parallel bars in one layer vouch for one another.
    assert sum(item.kind == "bar" for item in items) >= 3
    assert not any(item.kind == "plastic_conduit" for item in items)
    assert all(item.confidence > 0.5 for item in items)
    assert [item.item_id for item in items] == [f"A1-{n:03d}" for n in range(1, len(items) + 1)]


def test_picks_belong_to_items_and_lie_on_lines(found):
    _, _, _, picks, items = found
    for item in items:
        own = [pick for pick in picks if pick.item_id == item.item_id]
        assert len(own) == item.pick_count
        for pick in own:
            assert pick.polarity == -1  # metal
            assert abs(pick.depth_m - np.median(item.vertices_m[:, 2])) < 0.015
            number = int(pick.line_id[1:]) * surveys.LINE_STEP_M
            assert (pick.y_m if pick.line_id[0] == "X" else pick.x_m) == pytest.approx(number, abs=1e-6)
    assert len({pick.pick_id for pick in picks}) == len(picks)


def test_cancelling_stops_it(found):
    calls = []
    with pytest.raises(Cancelled):
        detect_items(*found[:3], Monitor(cancelled=lambda: calls.append(1) or len(calls) > 5))


def test_mat_in_an_area_of_the_sample(tmp_path):
    """One area with aggregate, instrument and position errors: its upper mat against the sample's truth."""
    area = replace(AREAS[1], size_m=(0.8, 0.6))
    truth = write_survey(tmp_path, [area])
    scanned = read_survey(tmp_path).areas[0]
    prepared = prepare_area(scanned)
    velocity = area.concrete.velocity_m_per_ns
    # Files are shifted in time at random; what they share is known to 40 ps over the root of their number.
    speed = WaveSpeed(
        area.area_id, velocity, 0.01 * velocity, prepared.reference_ns - direct_lag_ns(area), 0.01, "known"
    )
    _, items = detect_items(prepared, speed, find_base(prepared, speed))
    on_site = [np.column_stack([area.to_site(item.vertices_m[:, :2]), item.vertices_m[:, 2]]) for item in items]
    match = compare(truth, on_site, lambda entry: entry["kind"] == "bar" and depth_of(entry) < 0.08)
    assert match.found > 0.9
    assert match.lateral_rms_m < 0.008
    assert match.depth_rms_m < 0.008
    assert match.false < 0.15


def direct_lag_ns(area):
    """From time zero to the direct wave's first extremum, from the forward model."""
    model = ScanModel(RADAR, area.concrete, area.thickness_m, [])
    fine = np.arange(-0.1, 0.2, 0.001)  # its second one comes a third of a nanosecond later
    turns = np.exp(2j * np.pi * np.outer(fine, RADAR.frequency_ghz))
    wave = (turns @ (model.pulse * model.direct())).real
    return fine[np.argmax(np.abs(wave))]


def depth_of(entry):
    return np.median([vertex[2] for vertex in entry["polyline_site_x_y_topdepth_m"]])
