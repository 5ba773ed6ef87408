"""What counts as scanned."""

from pathlib import Path

import numpy as np
import pytest

from inslab.processing.floor.coverage import find_coverage, outline
from inslab.processing.floor.shadows import drowned_ground, find_shadows
from inslab.processing.items.model import Item
from inslab.processing.radar.model import ShallowCell
from inslab.processing.site.frame import FITTED, AreaFit
from inslab.processing.survey.model import ScanArea, ScanLine

pytest.importorskip("osgeo")
HERE = AreaFit("A", FITTED, 0.0, np.zeros(2))


def line(number, start, end):
    return ScanLine("A", f"n{number}", "across", Path("x.sgy"), start, end, 101, 256, 0.02)


def area_of(ends):
    return ScanArea("A", "L1", "top", 0.06, 1500.0, lines=tuple(line(n, *pair) for n, pair in enumerate(ends)))


def x_lines(offsets, low=0.0, high=1.0):
    return [((low, y), (high, y)) for y in offsets]


def y_lines(offsets, low=0.0, high=1.0):
    return [((x, low), (x, high)) for x in offsets]


def area_m2(coverage):
    def ring_area(ring):
        x, y = ring.T
        return abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2

    return sum(ring_area(c.rings_m[0]) - sum(ring_area(hole) for hole in c.rings_m[1:]) for c in coverage)


STEPS = np.linspace(0, 1, 11)


def test_a_crossed_grid_is_one_piece_that_ends_at_the_outermost_lines():
    (piece,) = find_coverage(area_of(x_lines(STEPS) + y_lines(STEPS)), HERE, 0.4)
    assert area_m2([piece]) == pytest.approx(1.0)
    assert (piece.line_directions, piece.depth_m) == (2, 0.4)
    assert piece.rings_m[0].min() == 0.0
    assert piece.rings_m[0].max() == 1.0


def test_ground_with_lines_of_one_direction_is_told_apart():
    pieces = find_coverage(area_of(x_lines(STEPS) + y_lines(STEPS[:6])), HERE, 0.4)
    assert {piece.line_directions: round(area_m2([piece]), 6) for piece in pieces} == {2: 0.5, 1: 0.5}


def test_a_line_left_out_leaves_a_gap():
    pieces = find_coverage(area_of(x_lines(np.delete(STEPS, 5))), HERE, 0.4)
    assert len(pieces) == 2
    assert area_m2(pieces) == pytest.approx(0.8)
    assert not any((ring[:, 1] > 0.41).any() and (ring[:, 1] < 0.39).any() for p in pieces for ring in p.rings_m)


def test_a_column_inside_the_area_stays_open():
    """Lines that stop at a column and go on behind it, there 5 mm off, must not cover it."""
    inner = STEPS[3:-3]
    ends = x_lines(STEPS[:4]) + x_lines(STEPS[-4:]) + x_lines(inner, 0.0, 0.2) + x_lines(inner, 0.8, 1.0)
    ends += x_lines([STEPS[5] + 0.005], 0.8, 1.0)
    pieces = find_coverage(area_of(ends), HERE, 0.4)
    assert area_m2(pieces) == pytest.approx(1.0 - 0.6 * 0.4)
    assert sum(len(piece.rings_m) for piece in pieces) == 2  # one piece, with a hole


def test_lines_too_far_apart_and_single_lines_cover_nothing():
    assert find_coverage(area_of(x_lines([0.0, 0.6, 1.2])), HERE, 0.4) == []
    assert find_coverage(area_of(x_lines([0.5])), HERE, 0.4) == []


def test_only_the_stretch_that_both_neighbours_run_counts():
    pieces = find_coverage(area_of([((0, 0), (1, 0)), ((0.9, 0.1), (0.3, 0.1))]), HERE, None)
    assert area_m2(pieces) == pytest.approx(0.06)
    assert pieces[0].depth_m is None


def test_both_dipole_axes_of_a_pass_are_one_line():
    assert area_m2(find_coverage(area_of(x_lines(STEPS) * 2), HERE, 0.4)) == pytest.approx(1.0)


def test_coverage_lies_where_the_area_lies():
    fit = AreaFit("A", FITTED, np.pi / 2, np.array([10.0, 20.0]), True)
    (piece,) = find_coverage(area_of(x_lines(STEPS[:6]) + y_lines(STEPS, 0.0, 0.5)), fit, 0.4)
    low, high = piece.rings_m[0].min(axis=0), piece.rings_m[0].max(axis=0)
    # local x points north; local y, mirrored, points east
    assert low == pytest.approx([10.0, 20.0])
    assert high == pytest.approx([10.5, 21.0])


def test_outline():
    ring = outline(area_of(x_lines(STEPS[:6])))
    assert np.ptp(ring, axis=0) == pytest.approx([1.0, 0.5])
    assert outline(area_of(x_lines([0.5]))) is None


WAVELENGTH_M = 0.08


def bar(number, start, end, depth, kind="bar"):
    vertices = np.array([(*start, depth), (*end, depth)], float)
    return Item(f"A-{number}", ("A",), vertices, {kind: 1.0}, 0.9, 0.004, 0.003, 10)


def mesh(x_places, y_places, depths=(0.03, 0.04), kind="bar"):
    """Bars along y at `x_places` and along x at `y_places`, over the whole of a square metre."""
    bars = [bar(f"y{n}", (x, 0), (x, 1), depths[0], kind) for n, x in enumerate(x_places)]
    return bars + [bar(f"x{n}", (1, y), (0, y), depths[1], kind) for n, y in enumerate(y_places)]


def test_a_mesh_of_small_openings_hides_what_is_below_it():
    fine = np.arange(0.2, 0.61, 0.05)  # 34 mm clear between bars of 16 mm: under half a wavelength
    shadows = find_shadows(mesh(fine, fine), WAVELENGTH_M)
    pieces = find_coverage(area_of(x_lines(STEPS) + y_lines(STEPS)), HERE, 0.4, shadows)
    hidden = [piece for piece in pieces if piece.note]
    assert [piece.depth_m for piece in hidden] == [0.04]
    assert area_m2(hidden) == pytest.approx(0.4 * 0.4, rel=1e-6)
    assert "40 mm: in the shadow of a mesh" in hidden[0].note
    seen = [piece for piece in pieces if not piece.note]
    assert {piece.depth_m for piece in seen} == {0.4}
    assert area_m2(pieces) == pytest.approx(1.0)


@pytest.mark.parametrize(
    "bars",
    [
        mesh(np.arange(0.2, 0.8, 0.1), np.arange(0.2, 0.8, 0.1)),  # wide openings
        mesh(np.arange(0.2, 0.8, 0.05), [0.5]),  # one direction only: dipoles across the bars still see
        mesh(np.arange(0.2, 0.8, 0.05), np.arange(0.2, 0.8, 0.05), (0.03, 0.15)),  # two mats, not one mesh
    ],
)
def test_what_is_no_mesh_casts_no_shadow(bars):
    assert find_shadows(bars, WAVELENGTH_M) == []


def test_a_mesh_of_conduits_hides_like_one_of_bars():
    """What runs in them, cables or water, is not known."""
    fine = np.arange(0.2, 0.8, 0.05)
    bars, conduits = (find_shadows(mesh(fine, fine, kind=kind), WAVELENGTH_M) for kind in ("bar", "plastic_conduit"))
    assert [one.depth_m for one in conduits] == [one.depth_m for one in bars] != []


def test_below_the_reliable_depth_a_mesh_hides_nothing_more():
    fine = np.arange(0.2, 0.61, 0.05)
    shadows = find_shadows(mesh(fine, fine, (0.2, 0.21)), WAVELENGTH_M)
    (piece,) = find_coverage(area_of(x_lines(STEPS) + y_lines(STEPS)), HERE, 0.15, shadows)
    assert (piece.depth_m, piece.note) == (0.15, "")


def test_shallow_meshes_come_before_deeper_ones():
    fine = np.arange(0.2, 0.61, 0.05)
    both = mesh(fine, fine) + mesh(fine + 0.2, fine + 0.2, (0.20, 0.21))
    shadows = find_shadows(both, WAVELENGTH_M)
    assert [round(one.depth_m, 2) for one in shadows] == [0.04, 0.21]
    assert shadows[0].geometry.Area() == pytest.approx(0.16, rel=1e-6)
    assert shadows[1].geometry.Area() == pytest.approx(0.16 - 0.2 * 0.2, rel=1e-6)


def test_cells_where_echoes_drown_count_down_to_their_own_depth_only():
    cells = [
        ShallowCell(0.5, 0.5, 0.6, 0.6, 0.15),
        ShallowCell(0.6, 0.5, 0.7, 0.6, 0.15),
        ShallowCell(0.0, 0.0, 0.1, 0.1, 0.10),
    ]
    shadows = drowned_ground(cells)
    assert [one.depth_m for one in shadows] == [0.10, 0.15]
    pieces = find_coverage(area_of(x_lines(STEPS) + y_lines(STEPS)), HERE, 0.4, shadows)
    shallow = [piece for piece in pieces if piece.note]
    assert {piece.depth_m for piece in shallow} == {0.10, 0.15}
    assert area_m2(shallow) == pytest.approx(0.03, rel=1e-6)
    assert all("fall below the noise" in piece.note for piece in shallow)
    assert area_m2(pieces) == pytest.approx(1.0)
