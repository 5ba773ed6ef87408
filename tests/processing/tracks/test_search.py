"""Stack, refinement, echo and search on synthetic lines over straight objects of known course."""

import numpy as np
import pytest
from synthetic import SPEED_M_NS, area_over, prepared_area

from inslab.processing.items.describe import present_passes
from inslab.processing.radar.line_groups import GroupImages, group_lines, noise_profiles
from inslab.processing.radar.migration import ImageGrid
from inslab.processing.tracks.echo import add_echo, learn_echo
from inslab.processing.tracks.refine import Sightings, fit_curve, sight
from inslab.processing.tracks.search import WEAK, GroupSearch
from inslab.processing.tracks.stack import Track, search

WAVELENGTH = SPEED_M_NS / 1.5
# An oblique object, sloping down, over lines along x that lie 0.05 m apart; depth falls 20 mm a metre.
ANGLE, DEPTH_M, DIP = np.radians(10), 0.08, 0.02
DIRECTION = np.array([np.sin(ANGLE), np.cos(ANGLE), DIP * np.cos(ANGLE)])
DIRECTION = DIRECTION / np.linalg.norm(DIRECTION)
START = (0.25, 0.0, DEPTH_M)
SIZE_M = (0.5, 0.4)


def images_over(bars, noise=3e-3, margin=0.04, **changes):
    prepared, speed = area_over(bars, SIZE_M, 0.05, noise=noise, **changes)
    lines = [line for line in prepared.lines if line.line.line_id.startswith("x")]
    prepared = prepared_area(lines, prepared.time_ns)
    group = group_lines(prepared)[0]
    grid = ImageGrid(np.arange(-margin, 0.5001 + margin, 0.005), np.arange(0.02, 0.2, WAVELENGTH / 32))
    return GroupImages(prepared, group, speed, grid)


def true_course(images):
    """Place along the line and depth at which each pass crosses the object."""
    w = images.group.offsets_m
    return START[0] + w * np.tan(ANGLE), DEPTH_M + DIP * w


@pytest.fixture(scope="module")
def oblique():
    return images_over([(START, DIRECTION, -0.1)])


def test_strongest_track_is_the_object(oblique):
    tracks = search(oblique, noise_profiles(oblique))
    best = tracks[0]
    assert best.strength == max(track.strength for track in tracks)
    u, z = true_course(oblique)
    offsets = oblique.group.offsets_m - oblique.group.offsets_m.mean()
    found_u, found_z = best.at(offsets)
    # The search steps by 10 mm in place, 4.6 mm in depth, 0.02 in slope and dip.
    assert np.abs(found_u - u).max() < 0.010
    assert np.abs(found_z - z).max() < 0.010
    assert best.slope == pytest.approx(np.tan(ANGLE), abs=0.021)
    assert best.dip == pytest.approx(DIP, abs=0.021)
    assert best.coherence > 0.7
    # A second one as strong as half of it would be a false object.
    assert all(track.strength < 0.6 * best.strength for track in tracks if abs(track.u0_m - best.u0_m) > 0.08)


def test_noise_alone_gives_no_strong_track():
    images = images_over([])
    tracks = search(images, noise_profiles(images))
    assert max((track.strength for track in tracks), default=0.0) < 7.0


def test_sightings_lie_on_the_course(oblique):
    noise = noise_profiles(oblique)
    track = search(oblique, noise)[0]
    u, z = true_course(oblique)
    offsets = oblique.group.offsets_m - oblique.group.offsets_m.mean()
    seen = sight(oblique, oblique.traces, noise, track, *track.at(offsets))
    assert seen.seen.all()
    assert np.abs(seen.u_m - u).max() < 0.004
    # Envelope maxima, drawn down a little by the weights that grow with depth.
    assert np.abs(seen.axis_depth_m["across"] - z).max() < 0.006
    curve = fit_curve(seen)
    assert np.polyval(curve.u, offsets) == pytest.approx(u, abs=0.0025)
    # Its phase is that of a negative pulse: pi, turned back by how much later the envelope's maximum comes.
    turned = np.angle(-np.exp(1j * seen.phase_rad["across"]))
    assert abs(turned) < np.radians(50)


def test_echo_is_learnt_and_taken_off(oblique):
    u, z = true_course(oblique)
    traces = {axis: oblique.traces[axis].copy() for axis in ("across", "along")}
    echo = learn_echo(oblique, traces, u, z, ANGLE)
    for axis in ("across", "along"):
        before = np.sum(np.abs(traces[axis]) ** 2)
        add_echo(traces[axis], echo, axis, -1)
        # Noise of 3e-3 over the whole record makes most of what is left.
        assert np.sum(np.abs(traces[axis]) ** 2) < 0.15 * before
        add_echo(traces[axis], echo, axis, +1)
        assert traces[axis] == pytest.approx(oblique.traces[axis], abs=1e-6)


def test_neighbour_keeps_its_echo_when_another_is_taken_off():
    other = ((0.10, 0.0, 0.06), (0.0, 1.0, 0.0), -0.1)
    images = images_over([(START, DIRECTION, -0.1), other])
    alone = images_over([other])
    u, z = true_course(images)
    traces = {axis: images.traces[axis].copy() for axis in ("across", "along")}
    echo = learn_echo(images, traces, u, z, ANGLE)
    add_echo(traces["across"], echo, "across", -1)
    left = traces["across"] - alone.traces["across"]
    assert np.sum(np.abs(left) ** 2) < 0.2 * np.sum(np.abs(alone.traces["across"]) ** 2)


def test_object_that_only_some_passes_cross_gets_its_ends():
    count = 12
    nothing = {"across": np.zeros(count)}

    def ends(weight, seen=None):
        u = np.where(np.ones(count, bool) if seen is None else seen, 0.2, np.nan)
        track = Track(0.2, 0.0, 0.1, 0.0, 10.0, 0.8, 3.0)
        one = Sightings(track, np.arange(count) * 0.05, u, u, nothing, weight, nothing, nothing, {}, {}, "across")
        return np.flatnonzero(present_passes(one))

    weight = np.where(np.arange(count) < 7, 1.0, 0.05)
    assert ends(weight).tolist() == list(range(7))
    weight[3] = 0.1  # a shaded pass in the middle does not cut it
    assert ends(weight).tolist() == list(range(7))
    assert ends(np.ones(count)).tolist() == list(range(count))
    seen = np.arange(count) >= 4
    assert ends(np.ones(count), seen).tolist() == list(range(4, count))
    assert ends(np.zeros(count)).tolist() == []


def test_search_finds_all_bars_of_a_mat_and_nothing_else():
    places = (0.08, 0.2, 0.32, 0.44)
    bars = [((x, 0.0, 0.05), (0.0, 1.0, 0.0), -0.1) for x in places]
    # Noise of a strength that aggregate gives; without any, limbs of bars far off are all there is to find at depth.
    found = GroupSearch(images_over(bars, noise=0.03), None).run()
    middles = sorted(float(np.median(one.sightings.u_m)) for one in found)
    assert middles == pytest.approx(places, abs=0.004)


def test_object_just_beyond_the_ends_of_the_lines_does_no_harm():
    # The images reach 60 mm beyond the lines' ends, sightings 40 mm: some tracks have none.
    bars = [((x, 0.0, 0.05), (0.0, 1.0, 0.0), -0.1) for x in (0.2, 0.549)]
    found = GroupSearch(images_over(bars, noise=1e-3, margin=0.06), None).run()
    assert any(abs(np.median(one.sightings.u_m) - 0.2) < 0.004 for one in found)


def test_nothing_at_or_below_the_base_is_accepted():
    bar = ((0.25, 0.0, 0.15), (0.0, 1.0, 0.0), -0.1)
    images = images_over([bar], noise=1e-3)
    assert len(GroupSearch(images, None).run()) == 1
    assert GroupSearch(images_over([bar], noise=1e-3), 0.14).run() == []


@pytest.mark.parametrize(("amplitude", "count"), [(-0.1, 1), (-0.012, 1), (0.1, 1), (0.012, 0)])
def test_a_weak_echo_on_its_own_needs_a_sign(amplitude, count):
    """The same object in a slab, as metal and with the sign of neither (positive for both axes alike)."""
    images = images_over([((0.25, 0.0, 0.09), (0.0, 1.0, 0.0), amplitude)], noise=0.03)
    found = GroupSearch(images, None).run()
    assert len(found) == count
    if count:
        assert (found[0].track.strength < WEAK) == (abs(amplitude) < 0.05)


def test_three_depths_make_no_curve():
    """Depths that upper bars leave on few passes must not bend, or slant, what lies between and beyond them."""
    count = 11
    w = np.linspace(-0.25, 0.25, count)
    depth = np.full(count, np.nan)
    depth[[5, 6, 7]] = 0.200, 0.201, 0.203
    nothing = {"across": np.zeros(count)}
    track = Track(0.2, 0.0, 0.2, 0.0, 10.0, 0.8, 3.0)
    few = Sightings(track, w, np.full(count, 0.2), depth, nothing, np.ones(count), nothing, nothing, {}, {}, "across")
    assert fit_curve(few).at(w)[1] == pytest.approx(0.201, abs=0.001)
