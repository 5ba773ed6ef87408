"""The network adjustment against published worked examples and published test statistics."""

import numpy as np
import pytest

from inslab.processing.site.network import Network, Node, Row
from inslab.processing.site.statistics import (
    critical_ratio,
    detectable_shift,
    ellipse,
    largest_variance_factor,
    variance_factor_interval,
)

pytest.importorskip("scipy")
X, Y = (1.0, 0.0), (0.0, 1.0)


def grid_network(local, site, sigma, scale_group=None, rotation=0.0):
    """One grid with control points, two rows each."""
    node = Node("A", np.mean(site, axis=0), np.mean(local, axis=0), rotation, scale_group=scale_group)
    rows = [
        Row(number, 0, sigma, there[axis], d, here)
        for number, (here, there) in enumerate(zip(local, site))
        for axis, d in enumerate((X, Y))
    ]
    return Network([node], rows)


def test_conformal_example_of_ghilani_and_wolf():
    """Ghilani and Wolf, Adjustment Computations, Example 18.1 (data read in public code files; a, b, T_E and T_N are printed
    there to five and three decimals). Reference variance, standard deviations and redundancy numbers were computed apart
    from the product, by a closed form in complex numbers.
    """
    local = np.array([[121.622, -128.066], [141.228, 187.718], [175.802, 135.728]])
    site = np.array([[1049422.40, 51089.20], [1049413.95, 49659.30], [1049244.95, 49884.95]])
    network = grid_network(local, site, 1.0, "the only one", rotation=3.0)
    solution = network.solve(np.ones(6, bool))
    scale, rotation = network.scales["the only one"], network.rotation[0]
    a, b = scale * np.cos(rotation), scale * np.sin(rotation)
    assert (a, b) == pytest.approx((-4.51249, -0.25371), abs=5e-6)
    matrix = np.array([[a, -b], [b, a]])
    shift = network.shift[0] - matrix @ network.centre[0]
    assert shift == pytest.approx([1050003.715, 50542.131], abs=5e-4)
    variance = np.sum(solution.residual**2) / 2
    assert variance == pytest.approx(0.019549765, abs=1e-8)
    assert solution.residual == pytest.approx([0.003838, -0.029133, 0.100867, -0.076742, -0.104704, 0.105875], abs=1e-6)
    assert solution.redundancy == pytest.approx([0.022084, 0.022084, 0.410836, 0.410836, 0.567081, 0.567081], abs=1e-6)
    assert np.sqrt(variance * solution.covariance[0][3, 3]) == pytest.approx(0.000576, abs=1e-6)


@pytest.mark.parametrize(
    ("weighted", "heights", "s0"),
    [(False, (105.141, 104.483, 106.188), 0.050), (True, (105.150, 104.489, 106.197), 0.107)],
)
def test_levelling_network_of_ghilani_and_wolf(weighted, heights, s0):
    """Ghilani and Wolf, Adjustment Computations, the differential levelling network with bench marks X = 100.00 and Y = 107.50,
    adjusted without weights and with weights 12 / miles. Data and printed heights quoted from memory; a separate dense
    solution gives the printed digits in both cases. A height difference is a tie in one coordinate.
    """
    known = {"X": 100.00, "Y": 107.50}
    lines = [
        ("X", "A", 5.10, 4),
        ("A", "Y", 2.34, 3),
        ("Y", "C", -1.25, 2),
        ("C", "X", -6.13, 3),
        ("A", "B", -0.68, 2),
        ("Y", "B", -3.00, 2),
        ("B", "C", 1.70, 2),
    ]
    number = {name: n for n, name in enumerate("ABC")}
    nodes = [Node(name, np.array([100.0, 0.0]), np.zeros(2), turns=False) for name in "ABC"]
    rows = []
    for n, (start, end, rise, miles) in enumerate(lines):
        sigma = np.sqrt(miles / 12) if weighted else 1.0
        if end in known:  # node a is the start, seen backwards
            rows.append(Row(n, number[start], sigma, known[end] - rise, X))
        elif start in known:
            rows.append(Row(n, number[end], sigma, known[start] + rise, X))
        else:
            rows.append(Row(n, number[end], sigma, rise, X, node_b=number[start]))
    rows += [Row(len(lines) + n, n, 1.0, 0.0, Y) for n in range(3)]  # the second coordinate is not in question
    network = Network(nodes, rows)
    solution = network.solve(np.ones(len(rows), bool))
    assert network.shift[:, 0] == pytest.approx(heights, abs=5e-4)
    squares = np.sum((solution.residual[:7] / network.sigma[:7]) ** 2)
    assert np.sqrt(squares / 4) == pytest.approx(s0, abs=5e-4)
    assert solution.redundancy[:7].sum() == pytest.approx(4.0)


def test_blunder_of_25_mm_in_a_four_foot_grid():
    """Own data; sum of weighted squares, standardized residual, redundancy number, estimated size and smallest detectable error
    were computed independently (singular value decomposition and Gauss-Newton).
    """
    side = 1.2192
    local = np.array([[0, 0], [side, 0], [side, side], [0, side], [side / 2, side / 2]])
    site = np.array(
        [
            [1000.2512, 500.7492],
            [1001.4382, 501.0145],
            [1001.2018, 502.2061],
            [999.9870, 501.9388],
            [1000.7125, 501.4774],
        ]
    )
    solution = grid_network(local, site, 0.002).solve(np.ones(10, bool))
    assert np.sum((solution.residual / 0.002) ** 2) == pytest.approx(112.296320, abs=1e-4)
    worst = int(np.argmax(np.abs(solution.standardized)))
    assert worst == 4
    assert abs(solution.standardized[worst]) == pytest.approx(10.459971, abs=1e-5)
    assert solution.redundancy[worst] == pytest.approx(0.623404, abs=1e-6)
    assert abs(solution.residual[worst] / solution.redundancy[worst]) == pytest.approx(0.026495720, abs=1e-8)
    smallest = detectable_shift(0.001, 0.8) * 0.002 / np.sqrt(solution.redundancy[worst])
    assert smallest == pytest.approx(0.010466973, abs=1e-8)
    # Left out, the point is predicted by the others: the estimated blunder is the misfit (in x; both coordinates are out).
    assert np.sum(solution.redundancy) == pytest.approx(7.0)


@pytest.mark.parametrize(
    ("significance", "power", "critical", "shift"),
    [
        (0.001, 0.8, 3.2905267, 4.1321480),
        (0.01, 0.8, 2.5758293, 3.4174505),
        (0.05, 0.8, 1.9599640, 2.8015852),
        (0.001, 0.9, 3.2905267, 4.5720783),
    ],
)
def test_critical_values(significance, power, critical, shift):
    """Normal distribution; Baarda's 3.29 and lambda 0 = 17.075 (quoted from memory) are the first row."""
    assert critical_ratio(significance) == pytest.approx(critical, abs=1e-6)
    assert detectable_shift(significance, power) == pytest.approx(shift, abs=1e-6)


@pytest.mark.parametrize(
    ("freedom", "low", "high", "one_sided"),
    [
        (1, 0.0009820691, 5.023886, 3.841459),
        (7, 1.689869, 16.01276, 14.06714),
        (20, 9.590777, 34.16961, 31.41043),
        (50, 32.35736, 71.42020, 67.50481),
    ],
)
def test_chi_square_limits(freedom, low, high, one_sided):
    """Any table of the chi-square distribution."""
    assert np.multiply(variance_factor_interval(freedom), freedom) == pytest.approx([low, high], rel=1e-6)
    assert largest_variance_factor(freedom) * freedom == pytest.approx(one_sided, rel=1e-6)


def test_error_ellipse():
    """Of [[9, 4], [4, 5]]: semi-axes 3.387054 and 1.589926, major axis 31.717474 degrees from x (eigenvalues by hand); 95 per
    cent of a two-dimensional normal distribution lie within 2.447747 of them.
    """
    one_sigma = 1.0 - np.exp(-0.5)
    major, minor, direction = ellipse([[9.0, 4.0], [4.0, 5.0]], one_sigma)
    assert (major, minor) == pytest.approx((3.387054, 1.589926), abs=1e-6)
    assert np.degrees(direction) == pytest.approx(31.717474, abs=1e-6)
    assert ellipse([[9.0, 4.0], [4.0, 5.0]])[0] / major == pytest.approx(2.447747, abs=1e-6)
    in_metres = np.array([[9.0, 4.0], [4.0, 5.0]]) * 1e-6
    assert ellipse(in_metres, one_sigma) == pytest.approx((0.003387054, 0.001589926, direction), abs=1e-9)
    # An error along one line only, 3 mm by 1 mm; rounding may make the other eigenvalue negative.
    major, minor, direction = ellipse(np.array([[9.0, 3.0], [3.0, 1.0]]) * 1e-6, one_sigma)
    assert (major, minor) == pytest.approx((np.sqrt(10.0) / 1000, 0.0), abs=1e-9)
    assert np.tan(direction) == pytest.approx(1 / 3)
    assert ellipse([[-1e-20, 0.0], [0.0, 4.0]], one_sigma) == pytest.approx((2.0, 0.0, np.pi / 2))


def test_left_out_rows_are_predicted_and_the_quick_update_is_the_full_solution():
    """Statistics after a row was dropped, by the update formula and from scratch."""
    random = np.random.default_rng(2)
    local = random.uniform(0, 2, (6, 2))
    site = local + np.array([50.0, 20.0]) + random.normal(0, 0.002, (6, 2))
    used = np.ones(12, bool)
    network = grid_network(local, site, 0.002)
    all_in = network.solve(used)
    used[[4, 5]] = False
    quick = network.solve_again(used, np.array([4, 5]), all_in)
    full = grid_network(local, site, 0.002).solve(used)
    back = network.solve_again(np.ones(12, bool), np.array([4, 5]), quick)
    for one, other in ((quick, full), (back, all_in)):
        assert one.residual == pytest.approx(other.residual, abs=1e-12)
        assert one.standardized == pytest.approx(other.standardized, abs=1e-4)
        assert one.covariance[0] == pytest.approx(other.covariance[0], rel=1e-4, abs=2e-10)
    assert full.redundancy[[4, 5]].tolist() == [0.0, 0.0]
    # Deleted residual = residual over redundancy where a single row is dropped (Ghilani and Wolf, blunder detection).
    used = np.ones(12, bool)
    used[4] = False
    alone = grid_network(local, site, 0.002).solve(used)
    assert alone.residual[4] == pytest.approx(all_in.residual[4] / all_in.redundancy[4], rel=1e-3)
    assert abs(alone.standardized[4]) == pytest.approx(abs(all_in.standardized[4]), rel=1e-3)


def test_a_grid_that_nothing_fixes_is_named():
    """One point fixes no rotation; a row dropped from two points leaves three rows for three unknowns, two leave two."""
    local, site = np.array([[0.0, 0.0], [2.0, 0.0]]), np.array([[50.0, 20.0], [52.0, 20.0]])
    network = grid_network(local, site, 0.002)
    used = np.array([True, True, False, True])
    assert network.solve(used).undetermined == ""
    all_in = network.solve(np.ones(4, bool))
    for gone in ([2, 3], [0, 1]):
        used = np.ones(4, bool)
        used[gone] = False
        assert network.solve_again(used, np.array(gone), all_in).undetermined == "A"
        assert grid_network(local, site, 0.002).solve(used).undetermined == "A"
    nothing = Network([Node("A", site[0], local[0]), Node("B", site[0], local[0])], [Row(0, 0, 0.1, 50.0, X)])
    assert nothing.solve(np.ones(1, bool)).undetermined in ("A", "B")
