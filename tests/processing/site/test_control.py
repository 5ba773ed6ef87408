"""What is said of control points before they are fitted: limits of the checks by closed formulas, and which trouble is named."""

import numpy as np
import pytest
from site_fits import fit_area

from inslab.processing.site.control import at_one_place, check_control, sigma_of
from inslab.processing.survey.model import ControlPoint, ScanArea

FIVE = np.array([[0.0, 0.0], [1.2, 0.0], [1.2, 1.0], [0.0, 1.0], [0.6, 0.5]])
SHIFT = (5.0, 6.0)


def seen(local, surface="top"):
    """Site coordinates of an area that is only shifted; a soffit's y runs the other way round."""
    return np.asarray(local, float) * [1, -1 if surface == "soffit" else 1] + SHIFT


def area_of(local, site, sigma=0.003, surface="top", local_sigma=0.0):
    points = tuple(
        ControlPoint("A", f"P{n}", tuple(here), tuple(there), sigma, local_sigma)
        for n, (here, there) in enumerate(zip(local, site), 1)
    )
    return ScanArea("A", "L1", surface, 0.06, 1500.0, control_points=points)


def check(*args, scale_is_free=False, **more):
    area = area_of(*args, **more)
    return check_control(area, area.control_points, scale_is_free)


@pytest.mark.parametrize(
    ("factor", "words"),
    [
        (1000.0, "the local coordinates look like millimetres"),
        (100.0, "the local coordinates look like centimetres"),
        (1 / 0.0254, "the local coordinates look like inches"),
        (1 / 0.3048, "the local coordinates look like feet"),
        (0.001, "the site coordinates look like millimetres"),
        (0.01, "the site coordinates look like centimetres"),
        (0.0254, "the site coordinates look like inches"),
        (0.3048, "the site coordinates look like feet"),
        (1.5, "a point may be mixed up with another one"),
    ],
)
def test_coordinates_in_another_unit_are_named(factor, words):
    """International inch and foot. A tape or a mark that is 2 per cent wrong does not hide the unit; two points suffice."""
    for stretch in (0.98, 1.02):
        for count in (2, 4):
            local = FIVE[:count] * 10
            refusal, warnings = check(local * factor, seen(local) * stretch)
            assert words in refusal
            assert warnings == []


@pytest.mark.parametrize(("ratio", "refused"), [(3.2, False), (3.4, True)])
@pytest.mark.parametrize("surface", ["top", "soffit"])
def test_the_wrong_side_is_named_where_the_sigmas_do_not_allow_it(ratio, refused, surface):
    """Three points of an isosceles triangle, given as their mirror image.

    With arms l = x + iy about the centroid and the site points conj(l), the best similarity leaves (S² - Q²) / S of the squares,
    S = sum |l|² and Q = sum conj(l)², which is real here. Two-sided 0.1 per cent of a normal distribution is 3.29 sigmas.
    """
    local = np.array([[-1.0, 0.0], [1.0, 0.0], [0.0, 0.06]])
    x, y = (local - local.mean(axis=0)).T
    total, crossed = np.sum(x**2 + y**2), np.sum(x**2 - y**2)
    distance = np.sqrt((total**2 - crossed**2) / total / 3)
    other = {"top": "soffit", "soffit": "top"}[surface]
    refusal, warnings = check(local, seen(local, other), distance / ratio, surface)
    side = {"top": "as seen from below", "soffit": "as seen from above"}[surface]
    assert (side in refusal) == refused
    assert warnings == []


def test_the_wrong_side_is_named_where_the_mirror_image_fits_as_well_as_its_sigmas_say():
    """And not where neither side fits: then a point is mixed up."""
    errors = 0.003 * np.array([[1.0, -1.0], [-1.0, 1.0], [1.0, 1.0], [-1.0, -1.0]])
    refusal, _ = check(FIVE[:4], seen(FIVE[:4], "soffit") + errors)
    assert "as seen from below" in refusal
    refusal, _ = check(FIVE[:3], seen(FIVE[[1, 2, 0]] * [1.0, 1.4], "soffit"))
    assert "mixed up" in refusal


@pytest.mark.parametrize(("ratio", "warned"), [(3.2, False), (3.4, True)])
@pytest.mark.parametrize("sign", [-1, 1])
def test_a_scale_is_told_where_the_sigmas_do_not_allow_it(ratio, warned, sign):
    """Two points 2 m apart: the sigma of their scale is sigma / sqrt(1² + 1²); marks and site coordinates count both."""
    sigma_scale = np.hypot(0.004, 0.003) / np.sqrt(2)
    local = np.array([[0.0, 0.0], [2.0, 0.0]])
    scale = 1 + sign * ratio * sigma_scale
    assert check(local, seen(local) * scale, 0.004, local_sigma=0.003, scale_is_free=True) == ("", [])
    refusal, warnings = check(local, seen(local) * scale, 0.004, local_sigma=0.003)
    assert refusal == ""
    assert len(warnings) == warned


@pytest.mark.parametrize(("scale", "words"), [(1.02, "+2.00 %"), (0.98, "-2.00 %")])
def test_a_scale_within_three_per_cent_is_a_warning_unless_it_is_adjusted(scale, words):
    refusal, (warning,) = check(FIVE * 10, seen(FIVE * 10) * scale)
    assert refusal == ""
    assert words in warning
    assert check(FIVE * 10, seen(FIVE * 10) * scale, scale_is_free=True) == ("", [])


@pytest.mark.parametrize("scale", [0.96, 1.04])
@pytest.mark.parametrize("scale_is_free", [False, True])
def test_a_scale_further_off_is_refused(scale, scale_is_free):
    refusal, _ = check(FIVE * 10, seen(FIVE * 10) * scale, scale_is_free=scale_is_free)
    assert f"{scale:.4g} times as long" in refusal


@pytest.mark.parametrize("surface", ["top", "soffit"])
@pytest.mark.parametrize(("count", "size"), [(4, 0.5), (5, 0.5), (5, -0.08)])
def test_one_wrong_point_among_four_does_not_refuse_the_others(surface, count, size):
    """Alone it would be a wrong scale of the whole; the fit names the point and stands where the others say."""
    local = FIVE[:count] * 2
    site = seen(local, surface)
    site[2, 0] += size
    assert check(local, site[[0, 1, 2]], surface=surface) != ("", [])  # three: nothing says which
    fit = fit_area(area_of(local, site, surface=surface))
    assert [point.point_id for point in fit.points if not point.used] == ["P3"]
    assert [f"P3 is left out, because it lies {1000 * abs(size):.0f} mm" in one for one in fit.warnings] == [True]
    assert fit.shift_m == pytest.approx(SHIFT, abs=1e-9)


@pytest.mark.parametrize(
    "bad",
    [
        {"sigma": 0.0},
        {"sigma": -0.003},
        {"local_sigma": -0.001},
        {"sigma": np.nan},
        {"local_sigma": np.inf},
        {"local": [[np.nan, 0.0]]},
        {"site": [[0.0, np.inf]]},
    ],
)
def test_no_point_with_a_number_that_makes_no_sense_is_used(bad):
    good = {"local": FIVE[:1], "site": seen(FIVE[:1]), "sigma": 0.003, "local_sigma": 0.0}
    area = area_of(**{**good, **bad})
    fit = fit_area(area)
    assert "control point P1 is not used" in fit.warnings[0]
    assert "no usable control point" in fit.warnings[1]


@pytest.mark.parametrize(
    ("sigmas", "one_place"), [((0.0016, 0.0), False), ((0.001, 0.0014), True), ((0.0017, 0.0), True)]
)
def test_points_that_their_sigmas_do_not_tell_apart_give_no_direction(sigmas, one_place):
    """Two points 3 mm and 4 mm apart, 5 mm in all; three sigmas are the limit, of the larger one."""
    first, second = (
        ControlPoint("A", name, place, (0.0, 0.0), sigma, local)
        for name, place, (sigma, local) in (("P1", (1.0, 1.0), (0.0001, 0.0)), ("P2", (1.003, 0.996), sigmas))
    )
    assert sigma_of(second) == pytest.approx(np.sqrt(sigmas[0] ** 2 + sigmas[1] ** 2))
    assert at_one_place([first, second], "local_m") == one_place
    assert at_one_place([first, second], "site_m")


def test_two_points_at_one_place_are_told_apart_from_one_point():
    fit = fit_area(area_of(FIVE[[1, 1]], seen(FIVE[:2])))
    assert "coincide in the local grid" in fit.warnings[-1]
