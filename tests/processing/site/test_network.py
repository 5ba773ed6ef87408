"""The network: which grids hang together, which one is not fixed, and parts of the inverse made a few columns at a time."""

import floors
import numpy as np
import pytest

from inslab.processing.site import network as network_module
from inslab.processing.site.fit import fit_areas
from inslab.processing.site.network import Network, Node, Row
from inslab.processing.site.observations import Observations

X, Y = (1.0, 0.0), (0.0, 1.0)
LOCAL = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)]


def grid(name, scale_group=None):
    return Node(name, np.array([10.0, 20.0]), np.zeros(2), scale_group=scale_group)


def control(node, count=3, sigma=0.002, axes=(X, Y)):
    """Rows of control points that agree with a grid at 10, 20."""
    return [
        Row(100 * node + n, node, sigma, float(np.dot(d, np.add(LOCAL[n], (10.0, 20.0)))), d, LOCAL[n])
        for n in range(count)
        for d in axes
    ]


def solve(nodes, rows):
    return Network(nodes, rows).solve(np.ones(len(rows), bool))


def test_grids_hang_together_over_ties_and_instruments():
    """B is tied to A, whose number is 0; D shares its instrument with F, E has one of its own, C stands alone."""
    nodes = [grid("A"), grid("B"), grid("C"), grid("D", "w1"), grid("E", "w2"), grid("F", "w1")]
    rows = [row for number in range(6) for row in control(number)]
    rows.append(Row(999, 1, 0.002, 0.0, X, LOCAL[0], 0, LOCAL[0]))
    solution = solve(nodes, rows)
    a, b, c, d, e, f = solution.component
    assert a == b
    assert d == f
    assert len({a, c, d, e}) == 4
    assert solution.unknown_count[[a, c, d, e]].tolist() == [6, 3, 7, 4]
    left_out = Network(nodes, rows)
    used = np.ones(len(rows), bool)
    used[-1] = False
    apart = left_out.solve(used)
    assert apart.component[0] != apart.component[1]
    assert apart.unknown_count[apart.component[[0, 1]]].tolist() == [3, 3]


@pytest.mark.parametrize(
    ("nodes", "rows", "name"),
    [
        # One point fixes no rotation.
        ([grid("A"), grid("B"), grid("C")], control(0) + control(1, 1) + control(2), "B"),
        # Nothing says where it is along x; that is the first of its unknowns.
        ([grid("A"), grid("B"), grid("C")], control(0) + control(1, axes=(Y,)) + control(2), "B"),
        # One point, at the centre, and a direction: the scale of its instrument is the last unknown of all.
        ([grid("A"), grid("B", "w1"), grid("C")], control(0) + control(1, 1) + control(2), "B"),
    ],
)
def test_the_grid_that_is_not_fixed_is_named(nodes, rows, name):
    if nodes[1].scale_group:
        rows = [*rows, Row(500, 1, 0.001, 0.0, e=1.0)]
    assert solve(nodes, rows).undetermined == name


def test_a_solution_without_checks_has_no_standardized_residuals():
    """Three observations of three unknowns: nothing checks any of them, and nothing says how large their errors are."""
    solution = solve([grid("A")], [*control(0, 1), Row(1, 0, 0.001, 0.0, e=1.0)])
    assert np.isnan(solution.standardized).all()
    assert solution.redundancy == pytest.approx(np.zeros(3), abs=1e-9)
    assert solution.spread == pytest.approx(np.array([0.002, 0.002, 0.001]) ** 2)


def test_a_mark_of_its_own_has_two_unknowns():
    """A mark, surveyed to 5 mm, tied to a grid's corner by 1 mm. Three points of 2 mm at right angles give the corner with the
    variance 4 (1/3 + 1/12) along each axis, and the covariance -4/12: a third of the centroid, and its arm of 1/3 m along both
    over the sum of squares of arms, 4/3 m². Both say where the mark is.
    """
    mark = Node("M", np.array([10.0, 20.0]), np.zeros(2), turns=False)
    rows = control(0)
    for d, place in ((X, 10.0), (Y, 20.0)):
        rows += [Row(500, 1, 0.005, place, d), Row(501, 0, 0.001, 0.0, d, LOCAL[0], 1)]
    solution = solve([grid("A"), mark], rows)
    corner = 0.002**2 / 12 * np.array([[5.0, -1.0], [-1.0, 5.0]])
    both = np.linalg.inv(np.eye(2) / 0.005**2 + np.linalg.inv(np.eye(2) * 0.001**2 + corner))
    assert solution.covariance[1] == pytest.approx(both, rel=1e-6)
    assert solution.unknown_count.tolist() == [3 + 2]
    assert solution.redundancy.sum() == pytest.approx(10 - 5)


@pytest.mark.parametrize("turns", [-2, -1, 0, 1, 2])
def test_a_direction_a_whole_turn_off_does_not_turn_a_grid(turns):
    """It is the nearest of all equal directions that the grid turns to, by the share of the weights: three points at right angles
    have arms with a sum of squares of 4/3 about their centroid.
    """
    differs = 0.003
    network = Network([grid("A")], [*control(0), Row(500, 0, 0.002, differs + turns * 2 * np.pi, e=1.0)])
    solution = network.solve(np.ones(7, bool))
    share = 1 / (1 + 4 / 3)
    assert network.rotation[0] == pytest.approx(share * differs, abs=1e-8)
    assert solution.residual[-1] == pytest.approx((share - 1) * differs, abs=1e-8)


@pytest.mark.parametrize("at_once", [1, 4, 7])
def test_the_inverse_is_the_same_made_in_parts(at_once, monkeypatch):
    areas, ties, _ = floors.floor(6, np.random.default_rng(2), every=3, columns=3)
    whole = fit_areas(areas, Observations(ties))
    monkeypatch.setattr(network_module, "UNKNOWNS_AT_ONCE", at_once)
    parts = fit_areas(areas, Observations(ties))
    for area_id, fit in whole.fits.items():
        assert parts.fits[area_id].covariance == pytest.approx(fit.covariance, rel=1e-9, abs=1e-18)
    for one, other in zip(parts.observations, whole.observations):
        assert one.redundancy == pytest.approx(other.redundancy, abs=1e-9)
