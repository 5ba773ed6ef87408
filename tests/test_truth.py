"""The yardstick of the end-to-end test, on a case that can be worked out by hand."""

import numpy as np
import pytest
from truth import compare

BAR = {"kind": "bar", "polyline_site_x_y_topdepth_m": [[-1.0, 0.5, 0.05], [3.0, 0.5, 0.05]]}
PART = {"areas": [{"site_corners": [[0, 0], [1, 0], [1, 1], [0, 1]]}], "objects": [BAR]}


def test_half_found_ten_millimetres_aside_and_five_too_deep():
    item = np.array([[0.5, 0.51, 0.055], [2.0, 0.51, 0.055]])
    stray = np.array([[0.03, 0.8, 0.05], [0.50, 0.8, 0.05]])
    match = compare(PART, [item, stray], lambda entry: True)
    assert match.found == pytest.approx(0.5, abs=0.04)
    assert match.lateral_rms_m == pytest.approx(0.010, abs=0.001)
    assert match.depth_rms_m == pytest.approx(0.005, abs=1e-6)
    # 0.47 m of 1.97 m lie in the area and on no object.
    assert match.false == pytest.approx(0.47 / 1.97, abs=0.01)


def test_an_item_far_below_is_not_the_object():
    match = compare(
        PART, [np.array([[0.0, 0.5, 0.05], [0.6, 0.5, 0.05]]), np.array([[0.6, 0.5, 0.15], [1.0, 0.5, 0.15]])], bool
    )
    assert match.found == pytest.approx(0.6, abs=0.04)
