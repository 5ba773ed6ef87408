"""The slab base from a flat reflector of known depth."""

import numpy as np
import pytest
from synthetic import area_over, wave_speed

from inslab.processing.radar.imaging import plan_grid
from inslab.processing.radar.line_groups import group_lines
from inslab.processing.radar.slab_base import find_slab_base

BARS = [
    ((0.15, 0.0, 0.05), (0.0, 1.0, 0.0), -0.2),
    ((0.35, 0.0, 0.05), (0.0, 1.0, 0.0), -0.2),
    ((0.0, 0.2, 0.065), (1.0, 0.0, 0.0), -0.2),
]


def base_of(prepared, speed):
    groups = group_lines(prepared)
    return find_slab_base(prepared, groups, speed, *plan_grid(groups, 0.02))


@pytest.mark.parametrize("thickness", [0.14, 0.25, 0.38])
def test_flat_base_is_found_within_two_millimetres(thickness):
    base = base_of(*area_over(BARS, base_m=thickness))
    assert base.seen
    seen = np.isfinite(base.thickness_m)
    assert seen.mean() > 0.9
    assert np.abs(base.thickness_m[seen] - thickness).max() < 0.002
    assert (np.isfinite(base.sigma_m) == seen).all()


def test_sigma_holds_the_wave_speed():
    prepared, _ = area_over(BARS, base_m=0.25)
    base = base_of(prepared, wave_speed(sigma=0.03))
    assert 0.03 * 0.25 < np.nanmedian(base.sigma_m) < 0.03 * 0.25 * 1.3


def test_no_base_no_value():
    base = base_of(*area_over(BARS))
    assert not base.seen
    assert np.isnan(base.sigma_m).all()


@pytest.mark.parametrize("thickness", [0.14, 0.25, 0.38])
@pytest.mark.parametrize("amplitude", [-0.05, -0.2, -0.8])
def test_metal_sheet_is_not_taken_for_a_base(thickness, amplitude):
    # A flat reflector with the sign of metal: Fresnel's coefficient from concrete to air is positive, to metal -1.
    assert not base_of(*area_over(BARS, base_m=thickness, base_amplitude=amplitude)).seen
