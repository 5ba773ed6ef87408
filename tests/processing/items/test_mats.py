"""Mat statistics against figures worked by hand."""

import statistics

import numpy as np
import pytest

from inslab.processing.common.vocabulary.kinds import KINDS
from inslab.processing.items.mats import find_mats
from inslab.processing.items.model import Item

BAR = dict(zip(KINDS, (0.8, 0.05, 0.05, 0.05, 0.05)))
CONDUIT = dict(zip(KINDS, (0.2, 0.05, 0.6, 0.05, 0.1)))


def bar(name, start, end, depth=0.04, kinds=BAR, sigma=(0.003, 0.004)):
    depths = np.broadcast_to(depth, 2)
    vertices = np.array([(*start, depths[0]), (*end, depths[1])], float)
    return Item(name, (name.split("-")[0],), vertices, dict(kinds), 0.9, *sigma, 5)


def test_four_bars_worked_by_hand():
    """At y = 0, 150, 300 and 500 mm: spacings 150, 150, 200; mean 500/3. Covers 30, 34, 38, 42: mean 36."""
    bars = [
        bar(f"A1-{n}", (0, y), (1, y), z)
        for n, (y, z) in enumerate([(0, 0.030), (0.15, 0.034), (0.30, 0.038), (0.50, 0.042)])
    ]
    (mat,) = find_mats(bars)
    assert mat.item_ids == ("A1-0", "A1-1", "A1-2", "A1-3")
    assert mat.direction_deg == pytest.approx(0.0)
    assert mat.spacing_mean_m == pytest.approx(0.5 / 3)
    assert (mat.spacing_min_m, mat.spacing_max_m) == pytest.approx((0.15, 0.20))
    assert mat.sigma_spacing_m == pytest.approx(0.003 * 2**0.5)
    assert (mat.cover_mean_m, mat.cover_min_m, mat.cover_q05_m) == pytest.approx((0.036, 0.030, 0.030))
    assert mat.sigma_cover_m == pytest.approx(0.004)
    assert mat.length_m == pytest.approx(4.0)


def test_a_bar_that_ends_half_way_counts_only_where_it_is():
    """The third bar covers 11 of 21 stations: (11 (150 + 150 + 200) + 10 (150 + 350)) / (33 + 20) = 10 500 / 53 mm."""
    bars = [bar(f"A1-{n}", (0, y), (x, y)) for n, (x, y) in enumerate([(1, 0), (1, 0.15), (0.5, 0.30), (1, 0.50)])]
    (mat,) = find_mats(bars)
    assert mat.spacing_mean_m == pytest.approx(10.5 / 53)
    assert mat.spacing_max_m == pytest.approx(0.35)


def test_five_per_cent_quantile_of_sloping_bars():
    """Three bars from 30 to 50 mm: 21 depths thrice. Rank 0.05 x 62 = 3.1 lies between two that are both 31 mm.

    Checked against Python's own quantiles, which interpolate alike (R. J. Hyndman and Y. Fan, 1996, The American Statistician
    50, 361-365, type 7).
    """
    bars = [bar(f"A1-{n}", (0, 0.2 * n), (1, 0.2 * n), (0.030, 0.050)) for n in range(3)]
    (mat,) = find_mats(bars)
    assert mat.cover_q05_m == pytest.approx(0.031)
    samples = sorted(3 * np.linspace(0.030, 0.050, 21).tolist())
    assert mat.cover_q05_m == pytest.approx(statistics.quantiles(samples, n=20, method="inclusive")[0])
    assert mat.cover_mean_m == pytest.approx(0.040)


def test_a_lap_counts_as_one_bar_in_spacings():
    """Two bars overlap by 300 mm, 40 mm apart (20 mm to each side of their row): there they count as one place."""
    bars = [bar("A1-0", (0, 0), (2, 0)), bar("A1-1", (0, 0.4), (2, 0.4))]
    bars += [bar("A1-2", (0, 0.18), (1.15, 0.18)), bar("A1-3", (0.85, 0.22), (2, 0.22))]
    (mat,) = find_mats(bars)
    assert mat.spacing_mean_m == pytest.approx(0.2)
    assert (mat.spacing_min_m, mat.spacing_max_m) == pytest.approx((0.18, 0.22))
    assert len(mat.item_ids) == 4


@pytest.mark.parametrize("degrees", [0.0, 37.0, 90.0, 178.0])
def test_a_turned_mat_has_the_same_figures(degrees):
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    turn = np.array([[cos, -sin], [sin, cos]])
    bars = []
    for n in range(6):
        ends = [(0.0, 0.15 * n), (1.2, 0.15 * n)][:: (-1) ** n]  # drawn forth and back
        bars.append(bar(f"A{n % 2}-{n}", *(turn @ np.array(end) + (100, 50) for end in ends)))
    (mat,) = find_mats(bars)
    assert mat.direction_deg == pytest.approx(degrees)
    assert (mat.spacing_mean_m, mat.spacing_min_m, mat.spacing_max_m) == pytest.approx((0.15, 0.15, 0.15))
    assert mat.area_ids == ("A0", "A1")


def test_layers_directions_and_places_are_told_apart():
    upper = [bar(f"A1-{n}", (0, 0.15 * n), (1, 0.15 * n), 0.030) for n in range(4)]
    crossing = [bar(f"A1-1{n}", (0.15 * n, 0), (0.15 * n, 0.6), 0.042) for n in range(4)]
    lower = [bar(f"A1-2{n}", (0, 0.2 * n), (1, 0.2 * n), 0.150) for n in range(4)]
    far = [bar(f"A2-{n}", (5, 0.15 * n), (6, 0.15 * n), 0.030) for n in range(4)]
    mats = find_mats([*lower, *crossing, *far, *upper])
    found = [(mat.area_ids, round(mat.direction_deg), round(mat.cover_mean_m, 3), len(mat.item_ids)) for mat in mats]
    assert found == [
        (("A1",), 0, 0.030, 4),
        (("A2",), 0, 0.030, 4),
        (("A1",), 90, 0.042, 4),
        (("A1",), 0, 0.150, 4),
    ]


def test_conduits_and_pairs_are_no_mat():
    bars = [bar(f"A1-{n}", (0, 0.2 * n), (1, 0.2 * n), kinds=BAR if n < 2 else CONDUIT) for n in range(5)]
    assert find_mats(bars) == []
    assert find_mats([]) == []


def test_a_bar_that_passes_no_station_is_of_no_mat():
    """50.02 mm long at 4.9 degrees to the others, so 49.8 mm along them: for some of these places it lies between two stations."""
    others = [bar(f"A1-{n}", (0, 0.15 * n), (1, 0.15 * n)) for n in range(3)]
    way = 0.05002 * np.array([np.cos(np.radians(4.9)), np.sin(np.radians(4.9))])
    counts = []
    for start in np.arange(0.1, 0.15, 0.0001):
        (mat,) = find_mats([*others, bar("A1-3", (start, 0.45), (start + way[0], 0.45 + way[1]))])
        counts.append(len(mat.item_ids))
    assert set(counts) == {3, 4}
