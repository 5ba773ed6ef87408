"""Items seen in two areas: matching without doubt, offsets, ties, and what ties do to a fit."""

from dataclasses import replace

import numpy as np
import pytest

from inslab.processing.floor.overlaps import find_seams, straight_pieces, ties_of
from inslab.processing.items.model import Pick
from inslab.processing.site.fit import fit_areas
from inslab.processing.site.frame import FITTED, AreaFit
from inslab.processing.site.observations import Observations
from inslab.processing.survey.model import ControlPoint, ScanArea

SIZE = 1.0
TRUE = {
    "A": AreaFit("A", FITTED, 0.05, np.array([10.0, 20.0])),
    "B": AreaFit("B", FITTED, -0.08, np.array([10.7, 20.05])),
}
CORNERS = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)
# Site lines: a point and a direction; the last one runs through A alone.
BARS = {
    "x1": ((9.0, 20.30), (1.0, 0.02)),
    "x2": ((9.0, 20.50), (1.0, 0.02)),
    "x3": ((9.0, 20.70), (1.0, 0.02)),
    "y1": ((10.85, 19.0), (0.01, 1.0)),
    "y2": ((10.25, 19.0), (0.01, 1.0)),
}
DEPTH = {"x1": 0.05, "x2": 0.05, "x3": 0.05, "y1": 0.065, "y2": 0.065}


def areas(sigma=0.003, errors=None):
    out = {}
    for area_id, fit in TRUE.items():
        site = fit.to_site(CORNERS) + (0 if errors is None else errors[area_id])
        points = tuple(
            ControlPoint(area_id, f"P{n}", tuple(local), tuple(there), sigma)
            for n, (local, there) in enumerate(zip(CORNERS, site), 1)
        )
        out[area_id] = ScanArea(area_id, "L1", "top", 0.06, 1500.0, control_points=points)
    return out


def picks_of(line_errors=0.0, random=None, bars=BARS, depth_errors=0.0):
    """Each bar on the lines that cross it, every 0.1 m both ways; a line's start is off by `line_errors` (1 sigma)."""
    picks = []
    for area_id, fit in TRUE.items():
        for direction in (0, 1):
            for number in range(11):
                start = np.array([0.0, 0.1 * number] if direction == 0 else [0.1 * number, 0.0])
                along = np.eye(2)[direction]
                shift = random.normal(0, line_errors) if random is not None else 0.0
                for name, (point, way) in bars.items():
                    p, q = fit.to_local([point, np.add(point, way)])
                    way_local = (q - p) / np.hypot(*(q - p))
                    if abs(way_local @ along) > 0.7:
                        continue  # runs along the line
                    t = np.linalg.solve(np.column_stack([along, -way_local]), p - start)[0]
                    if 0.03 < t < SIZE - 0.03:
                        x, y = start + (t + shift) * along
                        depth = DEPTH[name] + (depth_errors if area_id == "B" else 0.0)
                        item, line = f"{area_id}-{name}", f"{direction}{number}"
                        args = (f"{item}-{line}", item, area_id, line, float(x), float(y), depth, 0.003, 0.002)
                        picks.append(Pick(*args, -1, 20.0, float("nan")))
    return picks


def test_pieces_are_the_bars_as_each_area_sees_them():
    pieces = {piece.item_id: piece for piece in straight_pieces(picks_of())}
    assert set(pieces) == {"A-x1", "A-x2", "A-x3", "A-y1", "A-y2", "B-x1", "B-x2", "B-x3", "B-y1"}
    piece = pieces["A-x1"]
    point, way = TRUE["A"].to_local([BARS["x1"][0], np.add(*BARS["x1"])])
    normal = np.array([-(way - point)[1], (way - point)[0]]) / np.hypot(*(way - point))
    assert (piece.centre_m - point) @ normal == pytest.approx(0.0, abs=1e-9)
    assert piece.depth[0] == pytest.approx(0.05)
    # Eleven or so lines of 3 mm, and 2 mm for not being straight.
    assert 0.002 < piece.sigma_m < 0.0024


def test_a_bent_item_is_no_piece():
    picks = picks_of()
    bent = [pick for pick in picks if pick.item_id == "A-x1"]
    for number, pick in enumerate(bent):
        object.__setattr__(pick, "y_m", pick.y_m + 0.002 * (number - 5) ** 2)
    assert "A-x1" not in {piece.item_id for piece in straight_pieces(picks)}


def test_offsets_are_those_of_the_places():
    """Where B's fit is 6 mm and 4 mm off, bars along x show the 4 mm and the bar along y the 6 mm; depths are told apart."""
    given = areas()
    wrong = AreaFit("B", FITTED, TRUE["B"].rotation_rad, TRUE["B"].shift_m + (0.006, 0.004))
    fits = {"A": fit_areas([given["A"]]).fits["A"], "B": fit_areas([given["B"]]).fits["B"]}
    fits["B"] = AreaFit(
        "B", FITTED, wrong.rotation_rad, wrong.shift_m, centroid_m=fits["B"].centroid_m, covariance=fits["B"].covariance
    )
    seams = {seam.pieces[0].item_id: seam for seam in find_seams(picks_of(depth_errors=0.003), given, fits)}
    assert set(seams) == {"A-x1", "A-x2", "A-x3", "A-y1"}
    for name in ("A-x1", "A-x2", "A-x3"):
        across = 0.004 * np.cos(0.02) - 0.006 * np.sin(0.02)
        assert abs(seams[name].lateral_m) == pytest.approx(across, abs=1e-4)
    assert abs(seams["A-y1"].lateral_m) == pytest.approx(0.006, abs=2e-4)
    assert all(seam.depth_m == pytest.approx(0.003, abs=1e-6) for seam in seams.values())
    # Both areas' places (four points of 3 mm each, away from the middle) and both items.
    assert all(0.0035 < seam.sigma_lateral_m < 0.006 for seam in seams.values())


def test_bars_too_close_to_tell_apart_do_not_tie():
    """Two bars 12 mm apart, with a place that is 6 mm off: either could be the partner."""
    close = {"x1": BARS["x1"], "x2": ((9.0, 20.312), (1.0, 0.02))}
    given = areas()
    fits = dict(fit_areas(list(given.values())).fits)
    moved = fits["B"]
    fits["B"] = AreaFit(
        "B",
        FITTED,
        moved.rotation_rad,
        moved.shift_m + (0, 0.006),
        centroid_m=moved.centroid_m,
        covariance=moved.covariance,
    )
    assert find_seams(picks_of(bars=close), given, fits) == []


def test_items_of_other_planes_are_never_compared():
    given = areas()
    given["B"] = ScanArea("B", "L1", "soffit", 0.06, 1500.0, control_points=given["B"].control_points)
    fits = {area_id: AreaFit(area_id, FITTED, f.rotation_rad, f.shift_m, centroid_m=np.zeros(2), covariance=np.eye(3) * 1e-6)
            for area_id, f in TRUE.items()}  # fmt: skip
    assert find_seams(picks_of(), given, fits) == []


def test_parallel_items_count_as_one_observation():
    given = areas()
    seams = find_seams(picks_of(), given, fit_areas(list(given.values())).fits)
    ties = {tie.tie_id.split(" ")[0]: tie for tie in ties_of(seams)}
    pieces = {piece.item_id: piece for piece in straight_pieces(picks_of())}
    own = np.hypot(pieces["A-x1"].sigma_m, pieces["B-x1"].sigma_m)
    assert ties["A-x1"].sigma_m == pytest.approx(np.sqrt(3) * own)
    assert ties["A-y1"].sigma_m == pytest.approx(np.hypot(pieces["A-y1"].sigma_m, pieces["B-y1"].sigma_m))


def test_ties_over_items_help_and_their_sigmas_hold():
    """Many surveys of the two areas: control points of 3 mm, lines that start 4 mm off. With the ties, the two areas lie closer
    to each other than without; corner coordinates stay within 1.96 sigma in 95 per cent.
    """
    random = np.random.default_rng(12)
    apart, inside = {False: [], True: []}, []
    place = TRUE["A"].to_site([(0.85, 0.5)])
    for _ in range(150):
        given = areas(errors={area_id: random.normal(0, 0.003, (4, 2)) for area_id in TRUE})
        picks = picks_of(0.004, random)
        free = fit_areas(list(given.values()))
        tied = fit_areas(list(given.values()), Observations(tuple(ties_of(find_seams(picks, given, free.fits)))))
        for fit, is_tied in ((free, False), (tied, True)):
            places = [fit.fits[name].to_site(TRUE[name].to_local(place))[0] for name in TRUE]
            apart[is_tied].append(places[1] - places[0])
        for name, true in TRUE.items():
            error = tied.fits[name].to_site(CORNERS) - true.to_site(CORNERS)
            inside.append(np.abs(error) < 1.96 * tied.fits[name].sigma_at(CORNERS)[:, None])
    assert np.std(apart[True]) < 0.8 * np.std(apart[False])
    assert np.mean(inside) == pytest.approx(0.95, abs=0.025)


def test_a_seam_that_disagrees_in_depth_is_found_and_told():
    """Depths known to 6 mm in each area differ by 25 mm: 2.9 sigmas of the difference, more than the 2.58 of one in a hundred."""
    picks = [replace(pick, sigma_depth_m=0.006) for pick in picks_of(depth_errors=0.025)]
    given = areas()
    seams = find_seams(picks, given, fit_areas(list(given.values()), Observations()).fits)
    assert len(seams) == 4
    assert all(seam.depth_ratio == pytest.approx(0.025 / (0.006 * np.sqrt(2)), rel=1e-6) for seam in seams)
    assert not any(seam.agrees for seam in seams)
