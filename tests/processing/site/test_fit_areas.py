"""The joint fit: ties, directions, taped distances, instrument scale, outliers, and a simulated floor."""

from dataclasses import replace

import floors
import numpy as np
import pytest
from floors import CORNERS, corner_errors, floor

from inslab.processing.site.fit import fit_areas
from inslab.processing.site.frame import FITTED, AreaFit
from inslab.processing.site.observations import KnownDirection, Observations, TapeDistance, Tie
from inslab.processing.site.results import FitSettings
from inslab.processing.survey.model import ControlPoint, ScanArea

TRUTH = AreaFit("A", FITTED, 0.3, np.array([20.0, 30.0]))


def area(area_id="A", truth=TRUTH, local=CORNERS, surface="top", errors=0.0, sigma=0.003, local_sigma=0.0, **extra):
    site = truth.to_site(local) + errors if len(local) else []
    points = tuple(
        ControlPoint(area_id, f"P{n}", tuple(here), tuple(there), sigma, local_sigma)
        for n, (here, there) in enumerate(zip(local, site), 1)
    )
    return ScanArea(area_id, "L1", surface, 0.06, 1500.0, control_points=points, extra=extra)


def point_tie(name, one, other, place, error=(0.0, 0.0), sigma=0.002):
    """A tie at a local place of `one`; both are true fits."""
    there = other.to_local(one.to_site([place]))[0] + error
    return Tie(name, (one.area_id, other.area_id), (tuple(place), tuple(there)), sigma)


def test_areas_without_ties_are_fitted_as_if_alone():
    random = np.random.default_rng(3)
    areas, _, _ = floor(30, random, tie_sigma_m=None)
    together = fit_areas(areas)
    for one in areas:
        alone, joint = fit_areas([one]).fits[one.area_id], together.fits[one.area_id]
        assert joint.rotation_rad == pytest.approx(alone.rotation_rad, abs=1e-12)
        assert joint.shift_m == pytest.approx(alone.shift_m, abs=1e-9)
        assert joint.covariance == pytest.approx(alone.covariance, rel=1e-6, abs=1e-18)
        assert joint.sigma0 == pytest.approx(alone.sigma0)
    assert together.degrees_of_freedom == 5 * len(areas)


def test_redundancy_numbers_of_a_tied_floor_sum_to_its_freedom():
    areas, ties, _ = floor(30, np.random.default_rng(3), every=4)
    fit = fit_areas(areas, Observations(ties))
    used = [found for found in fit.observations if found.used]
    assert sum(found.redundancy.sum() for found in used) == pytest.approx(fit.degrees_of_freedom)
    assert fit.interval[0] < fit.variance_factor < fit.interval[1]


def test_an_area_without_control_is_placed_over_ties_as_a_hand_calculation_says():
    """B hangs on A by two exact ties 1 m apart; between them its sigma is that of A there and 1/sqrt(2) of a tie's."""
    other = AreaFit("B", FITTED, -0.2, np.array([20.9, 30.6]))
    ties = [point_tie(f"T{y}", TRUTH, other, (1.1, y)) for y in (0.0, 1.0)]
    fit = fit_areas([area(), area("B", other, local=[])], Observations(tuple(ties)))
    assert fit.fits["B"].rotation_rad == pytest.approx(-0.2, abs=1e-9)
    assert fit.fits["B"].to_site(CORNERS) == pytest.approx(other.to_site(CORNERS), abs=1e-9)
    middle = other.to_local(TRUTH.to_site([(1.1, 0.5)]))
    expected = np.hypot(fit.fits["A"].sigma_at([(1.1, 0.5)])[0], 0.002 / np.sqrt(2))
    assert fit.fits["B"].sigma_at(middle)[0] == pytest.approx(expected, rel=1e-6)


def test_a_tie_across_an_item_moves_an_area_across_it_only():
    """Two areas with control; a line tie with a sigma of nothing forces the offset across to zero and leaves the rest."""
    other = AreaFit("B", FITTED, 0.3, np.array([21.0, 30.3]))
    pushed = area("B", other, errors=np.array([-0.003, 0.004]))
    direction = 0.3  # of an item along local y of A, as seen in A
    along = np.array([np.cos(direction), np.sin(direction)])
    there = other.to_local(TRUTH.to_site([(1.0, 0.5)]))[0]
    tie = Tie("L", ("A", "B"), ((1.0, 0.5), tuple(there)), 1e-6, direction)
    free, tied = (fit_areas([area(), pushed], Observations(ties)).fits for ties in ((), (tie,)))
    normal = TRUTH._matrix @ np.array([-along[1], along[0]])

    def offset(fits):
        return fits["B"].to_site([there])[0] - fits["A"].to_site([(1.0, 0.5)])[0]

    assert abs(offset(free) @ normal) > 0.002
    assert abs(offset(tied) @ normal) < 1e-5
    sideways = TRUTH._matrix @ along
    assert offset(tied) @ sideways == pytest.approx(offset(free) @ sideways, abs=5e-4)


@pytest.mark.parametrize("surface", ["top", "soffit"])
def test_one_point_and_a_known_direction_place_an_area(surface):
    truth = replace(TRUTH, mirrored=surface == "soffit")
    local_rad = 0.25
    ends = truth.to_site([(0, 0), (np.cos(local_rad), np.sin(local_rad))])
    site_rad = np.arctan2(*(ends[1] - ends[0])[::-1])
    known = KnownDirection("along wall", "A", local_rad, site_rad, 0.002)
    fit = fit_areas([area(truth=truth, local=CORNERS[:1], surface=surface)], Observations(directions=(known,))).fits[
        "A"
    ]
    assert fit.to_site(CORNERS) == pytest.approx(truth.to_site(CORNERS), abs=1e-9)
    assert fit.sigma_at(CORNERS[:1])[0] == pytest.approx(0.003)
    # At the far end of a side: 3 mm, and 2 mrad over 1.2 m across it.
    assert np.trace(fit.covariance_at(CORNERS[1:2])[0]) == pytest.approx(2 * 0.003**2 + (1.2 * 0.002) ** 2)


def test_taped_distances_from_two_building_lines_place_an_area():
    lines = {"1": ((20.0, 20.0), (20.0, 60.0)), "B": ((0.0, 25.0), (50.0, 25.0))}
    taped = []
    for corner in (0, 1):
        x, y = TRUTH.to_site([CORNERS[corner]])[0]
        for name, distance in (("1", 20.0 - x), ("B", y - 25.0)):  # left of a line going north is west
            taped.append(
                TapeDistance(f"{name}{corner}", "A", tuple(CORNERS[corner]), *lines[name], float(distance), 0.004)
            )
    fit = fit_areas([area(local=[])], Observations(distances=tuple(taped)))
    assert fit.fits["A"].to_site(CORNERS) == pytest.approx(TRUTH.to_site(CORNERS), abs=1e-9)
    assert fit.degrees_of_freedom == 1
    one_short = fit_areas([area(local=[])], Observations(distances=tuple(taped[:2])))
    assert not one_short.fits["A"].is_fitted


@pytest.mark.parametrize("surface", ["top", "soffit"])
def test_a_known_direction_and_two_taped_distances_place_an_area(surface):
    """Distances from crossing lines; from two parallel ones nothing says where along them the area lies."""
    truth = replace(TRUTH, mirrored=surface == "soffit")
    (x, y), (further_x, _) = truth.to_site([CORNERS[2], CORNERS[0]])
    side = -1.0 if surface == "soffit" else 1.0
    known = KnownDirection("wall", "A", 0.25, TRUTH.rotation_rad + side * 0.25, 0.002)
    north, east = ((20.0, 20.0), (20.0, 60.0)), ((0.0, 25.0), (50.0, 25.0))
    taped = (
        TapeDistance("1", "A", tuple(CORNERS[2]), *north, float(20.0 - x), 0.004),
        TapeDistance("B", "A", tuple(CORNERS[2]), *east, float(y - 25.0), 0.004),
    )
    lone = area(truth=truth, local=[], surface=surface)
    fit = fit_areas([lone], Observations(directions=(known,), distances=taped)).fits["A"]
    assert fit.to_site(CORNERS) == pytest.approx(truth.to_site(CORNERS), abs=1e-9)
    assert fit.sigma_at(CORNERS[2:3])[0] == pytest.approx(0.004)
    parallel = (taped[0], TapeDistance("2", "A", tuple(CORNERS[0]), *north, float(20.0 - further_x), 0.004))
    for distances in (parallel, taped[:1], ()):
        fit = fit_areas([lone], Observations(directions=(known,), distances=distances)).fits["A"]
        assert not fit.is_fitted
        assert "Area A is not positioned" in fit.warnings[-1]


def test_one_scale_for_each_instrument():
    random = np.random.default_rng(5)
    areas = []
    for number in range(12):
        truth = AreaFit(f"A{number}", FITTED, 0.1 * number, np.array([20.0 + 2 * number, 30.0]))
        wheel = "w1" if number % 2 else "w2"
        stretched = {"w1": 1.004, "w2": 0.998}[wheel]
        one = area(truth.area_id, truth, errors=random.normal(0, 0.002, (4, 2)), sigma=0.002, instrument=wheel)
        points = tuple(
            replace(point, local_m=tuple(np.array(point.local_m) / stretched)) for point in one.control_points
        )
        areas.append(replace(one, control_points=points))
    fit = fit_areas(areas, settings=FitSettings(free_scale=True))
    for wheel, scale in (("w1", 1.004), ("w2", 0.998)):
        found, sigma = fit.scales[wheel]
        assert abs(found - scale) < 3 * sigma
        # 6 areas of 4 points; arms of 0.6 m and 0.5 m from the middle
        assert sigma == pytest.approx(0.002 / np.sqrt(6 * 4 * (0.6**2 + 0.5**2)), rel=0.02)
    assert fit.fits["A1"].scale == fit.scales["w1"][0]
    assert fit_areas(areas).fits["A1"].scale == 1.0


def test_a_mark_shared_by_two_areas_counts_once():
    """Both areas use the same two marks, whose own sigma is stated apart: the error of the marks' site positions stays, however
    many areas use them.
    """
    other = AreaFit("B", FITTED, 0.3, np.array([20.0, 30.0]))
    both = [
        area(local=CORNERS[:2], local_sigma=0.001, sigma=0.005),
        area("B", other, CORNERS[:2], local_sigma=0.001, sigma=0.005),
    ]
    fit = fit_areas(both)
    middle = [CORNERS[:2].mean(axis=0)]
    assert fit.fits["A"].sigma_at(middle)[0] == pytest.approx(np.sqrt((0.005**2 + 0.001**2) / 2), rel=1e-6)
    assert any(found.kind == "site position of control point" for found in fit.observations)


def test_what_cannot_be_used_is_named():
    far = Tie("T9", ("A", "Z"), ((0, 0), (0, 0)), 0.002)
    own = Tie("T8", ("A", "W"), ((0, 0), (0, 0)), 0.002)
    wall = area("W", surface="wall", wall="north")
    fit = fit_areas([area(), wall, area("E", local=[])], Observations((far, own)))
    assert "there is no area Z" in fit.warnings[0]
    assert "Tie T8 is not used: it must join two areas of the same plan" in fit.warnings[1]
    assert not fit.fits["E"].is_fitted
    assert "Area E is not positioned" in fit.fits["E"].warnings[-1]


def test_a_wrong_tie_is_named_and_left_out():
    areas, ties, truth = floor(12, np.random.default_rng(8))
    number = 7
    moved = replace(
        ties[number], local_m=(ties[number].local_m[0], tuple(np.add(ties[number].local_m[1], (0.05, 0.0))))
    )
    fit = fit_areas(areas, Observations((*ties[:number], moved, *ties[number + 1 :])))
    assert [found.name for found in fit.observations if not found.used] == [moved.tie_id]
    assert any(f"The tie {moved.tie_id}" in sentence and "left out" in sentence for sentence in fit.warnings)
    without = fit_areas(areas, Observations((*ties[:number], *ties[number + 1 :])))
    assert corner_errors(fit.fits, truth) == pytest.approx(corner_errors(without.fits, truth), abs=1e-6)


def test_two_wrong_points_in_one_area_are_both_found():
    random = np.random.default_rng(4)
    local = np.array([[x, y] for x in (0.0, 0.6, 1.2) for y in (0.0, 0.5, 1.0)])
    errors = random.normal(0, 0.002, local.shape)
    errors[2] += (0.05, 0.0)
    errors[6] += (0.0, -0.035)
    fit = fit_areas([area(local=local, errors=errors, sigma=0.002)]).fits["A"]
    assert [point.point_id for point in fit.points if not point.used] == ["P3", "P7"]


def test_the_sigmas_of_a_floor_of_200_areas_hold():
    """95 per cent of the coordinates lie within 1.96 sigma; good observations are rejected at the stated rate of one in 1000."""
    inside, ratios, rejected, total = [], [], 0, 0
    for seed in range(3):
        areas, ties, truth = floor(200, np.random.default_rng(seed), every=2)
        fit = fit_areas(areas, Observations(ties))
        sigma = np.array([fit.fits[area_id].sigma_at(CORNERS) for area_id in truth])
        inside.append(np.abs(corner_errors(fit.fits, truth)) < 1.96 * sigma[..., None])
        ratios.append(np.concatenate([found.standardized for found in fit.observations]))
        rejected += sum(not found.used for found in fit.observations)
        total += sum(len(found.residual) for found in fit.observations)
    assert np.mean(inside) == pytest.approx(0.95, abs=0.015)
    assert np.std(np.concatenate(ratios)) == pytest.approx(1.0, abs=0.03)
    expected = 0.001 * total
    assert abs(rejected - expected) < 3 * np.sqrt(expected)


def test_the_test_keeps_its_stated_significance():
    areas, ties, _ = floor(200, np.random.default_rng(11))
    settings = FitSettings(significance=0.05)
    fit = fit_areas(areas, Observations(ties), settings)
    first = fit_areas(areas, Observations(ties), FitSettings(significance=1e-12))
    ratios = np.abs(np.concatenate([found.standardized for found in first.observations]))
    assert np.mean(ratios > 1.96) == pytest.approx(0.05, abs=0.01)
    assert sum(not found.used for found in fit.observations) > 20


def test_smallest_detectable_errors_are_detected_at_the_stated_rate():
    """An error of the stated size is put into one coordinate; the test sees it in about 80 per cent of the draws."""
    random = np.random.default_rng(6)
    detectable = fit_areas([area()]).fits["A"].points[2].detectable_m[0]
    found = []
    areas = []
    for number in range(400):
        errors = random.normal(0, 0.003, (4, 2))
        errors[2, 0] += detectable
        areas.append(area(f"A{number}", errors=errors))
    fit = fit_areas(areas, settings=FitSettings(significance=1e-12))
    for result in fit.observations:
        if result.name == "P3":
            found.append(abs(result.standardized[0]) > 3.2905)
    assert np.mean(found) == pytest.approx(0.8, abs=0.06)


def test_a_small_floor_is_the_same_twice():
    areas, ties, _ = floor(20, np.random.default_rng(9), every=3)
    one, other = (fit_areas(areas, Observations(ties)) for _ in range(2))
    for area_id in one.fits:
        assert np.array_equal(one.fits[area_id].shift_m, other.fits[area_id].shift_m)
    assert floors.STEP_M[0] < CORNERS[:, 0].max()  # the generator's areas do overlap
