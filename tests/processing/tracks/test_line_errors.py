"""Start and scale errors of passes from straight objects."""

import numpy as np
import pytest

from inslab.processing.tracks.line_errors import correct, estimate_line_errors

OFFSETS = np.arange(12) * 0.05


def sightings(start, scale, objects=8, noise=0.001, seed=0):
    """Places at which passes with these errors see straight objects that cross a metre of line, some of them oblique."""
    random = np.random.default_rng(seed)
    at = np.linspace(0.05, 0.95, objects)
    slopes = random.uniform(-0.15, 0.15, objects)
    true = at[:, None] + slopes[:, None] * (OFFSETS - OFFSETS.mean())
    return true, true + start + scale * (true - 0.5) + random.normal(0, noise, true.shape)


def test_known_errors_are_recovered():
    random = np.random.default_rng(3)
    start, scale = random.normal(0, 0.004, 12), random.normal(0, 0.004, 12)
    _, seen = sightings(start, scale)
    found_start, found_scale = estimate_line_errors(OFFSETS, seen, np.ones_like(seen))
    # What all passes share, and what runs evenly from pass to pass, looks like the objects' own course: compare without it.
    trend = np.stack([np.ones(12), OFFSETS], axis=1)

    def free(values):
        return values - trend @ np.linalg.lstsq(trend, values, rcond=None)[0]

    assert np.std(free(found_start - start)) < 0.0012
    assert np.std(free(found_scale - scale)) < 0.002
    better = correct(seen[3], found_start, found_scale, float(seen.mean()))
    line = np.polyval(np.polyfit(OFFSETS, better, 1), OFFSETS)
    before = np.polyval(np.polyfit(OFFSETS, seen[3], 1), OFFSETS)
    assert np.std(better - line) < 0.5 * np.std(seen[3] - before)


def test_passes_without_errors_are_left_alone():
    _, seen = sightings(np.zeros(12), np.zeros(12))
    start, scale = estimate_line_errors(OFFSETS, seen, np.ones_like(seen))
    assert np.abs(start).max() < 0.001
    assert np.abs(scale).max() < 0.0035


def test_one_wild_sighting_does_not_shift_its_pass():
    _, seen = sightings(np.zeros(12), np.zeros(12))
    seen[2, 5] += 0.03
    start, _ = estimate_line_errors(OFFSETS, seen, np.ones_like(seen))
    assert abs(start[5]) < 0.0025


def test_missing_sightings_do_not_count():
    start = np.zeros(12)
    start[4] = 0.008
    _, seen = sightings(start, np.zeros(12))
    seen[1, :6] = np.nan
    weights = np.isfinite(seen).astype(float)
    found, _ = estimate_line_errors(OFFSETS, seen, weights)
    assert found[4] - np.median(found) == pytest.approx(0.008, abs=0.0025)
    assert np.isfinite(found).all()


@pytest.mark.parametrize("objects", [0, 1])
def test_too_few_objects_give_no_correction(objects):
    seen = np.full((objects, 12), 0.3)
    start, scale = estimate_line_errors(OFFSETS, seen, np.ones_like(seen))
    assert np.abs(start).max() < 1e-12
    assert not scale.any()
