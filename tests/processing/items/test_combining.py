"""One value from several observations: hand calculations and the textbook's formulas."""

import numpy as np
import pytest

from inslab.processing.common.vocabulary.kinds import KINDS
from inslab.processing.items.combining import combined_sigma, pooled_kinds, updated, usual_sigma, widened


def test_what_is_shared_never_averages_out():
    """Three equal observations: own errors fall with the square root of three, the common one stays (JCGM 100:2008, eq. 13)."""
    apart, together = np.eye(3, dtype=bool), np.ones((3, 3), bool)
    assert combined_sigma([3.0] * 3, [4.0] * 3, together)[1] == pytest.approx(np.sqrt(3.0 + 16.0))
    assert combined_sigma([3.0] * 3, [4.0] * 3, apart)[1] == pytest.approx(5.0 / np.sqrt(3.0))
    weights, sigma = combined_sigma([1.0, 2.0], [0.0, 0.0], np.eye(2, dtype=bool))
    assert weights == pytest.approx([0.8, 0.2])  # as 1 to 1/4
    assert sigma == pytest.approx(1 / np.sqrt(1.25))


def test_sigma_is_widened_by_the_birge_ratio():
    """Offsets of 3 and -3 with sigmas of 1: chi-square 18 over one freedom, so sqrt(18) times; never narrowed."""
    assert widened(0.5, [3.0, -3.0], [1.0, 1.0]) == pytest.approx(0.5 * 18**0.5)
    assert widened(0.5, [0.1, -0.1], [1.0, 1.0]) == 0.5
    assert widened(0.5, [3.0], [1.0]) == 0.5


def test_kinds_are_pooled_by_their_geometric_mean():
    one = dict(zip(KINDS, (0.8, 0.05, 0.05, 0.05, 0.05)))
    other = dict(zip(KINDS, (0.2, 0.05, 0.6, 0.05, 0.1)))
    pooled = pooled_kinds([one, other])
    # By hand: 0.4, 0.05, 0.17321, 0.05, 0.07071 over their sum 0.74392.
    assert [pooled[kind] for kind in KINDS] == pytest.approx([0.5377, 0.0672, 0.2328, 0.0672, 0.0951], abs=1e-4)
    assert pooled_kinds([other, one]) == pooled


def test_no_observation_rules_a_kind_out_for_all_others():
    sure, other = dict.fromkeys(KINDS, 0.0), dict.fromkeys(KINDS, 0.0)
    sure["bar"], other["tendon"] = 1.0, 1.0
    pooled = pooled_kinds([sure, other])
    assert pooled["bar"] == pooled["tendon"] == pytest.approx(0.5, abs=0.01)


def test_a_measurement_of_equal_weight_moves_half_the_way():
    assert updated(0.0, 2.0, [1.0], [2.0]) == pytest.approx((0.5, np.sqrt(2.0)))
    assert usual_sigma([3.0, 4.0]) == pytest.approx(np.sqrt(12.5))
