"""Tied site grids against published transformations and PROJ's own ones."""

import numpy as np
import pytest

from inslab.processing.common.errors import ProcessingError
from inslab.processing.site.crs import GridTie, base_name, local_crs_wkt, point_scale, tied_crs_wkt, to_base
from inslab.processing.site.tie import PointPair, fit_tie

pyproj = pytest.importorskip("pyproj")
# Axis order north-east, west-south, several projections and datums: what naive definitions get wrong.
NATIONAL = {
    "EPSG:25832": (691000.0, 5335000.0),
    "EPSG:2193": (1750000.0, 5430000.0),
    "EPSG:31467": (3500000.0, 5400000.0),
    "EPSG:3006": (674000.0, 6580000.0),
    "EPSG:2180": (640000.0, 480000.0),
    "EPSG:31287": (620000.0, 480000.0),
    "EPSG:6669": (10000.0, -100000.0),
    "EPSG:28992": (155000.0, 463000.0),
}


def test_published_plant_grid():
    """EPSG transformation 15747, a plant grid in UTM zone 39N: parameters from PROJ's copy of the EPSG data set, example 20000,
    10000 -> 618336.748, 3067774.210 quoted from memory. Its rotation of 315 degrees counts clockwise.
    """
    wkt = tied_crs_wkt("Plant grid", "EPSG:32639", GridTie.from_degrees(611267.2865, 3046565.8255, 45.0, 0.9997728332))
    assert to_base(wkt, "EPSG:32639", [(20000.0, 10000.0)])[0] == pytest.approx([618336.748, 3067774.210], abs=5e-4)


@pytest.mark.parametrize("base", NATIONAL)
@pytest.mark.parametrize("degrees", [0.0, 90.0, 201.3])
def test_every_national_grid_is_hit_to_a_hundredth_of_a_millimetre(base, degrees):
    """Against the four numbers, and onwards to geographic coordinates by the national grid itself."""
    tie = GridTie.from_degrees(*NATIONAL[base], degrees, 0.99987)
    wkt = tied_crs_wkt("Site", base, tie)
    site = np.array([(200.0, 0.0), (-150.0, 130.0)])
    assert to_base(wkt, base, site) == pytest.approx(tie.to_base(site), abs=1e-5)
    crs = pyproj.CRS.from_wkt(wkt)
    national = pyproj.CRS.from_user_input(base)
    direct = pyproj.Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True).transform(*site.T)
    over = pyproj.Transformer.from_crs(national, national.geodetic_crs, always_xy=True).transform(*tie.to_base(site).T)
    assert np.transpose(direct) == pytest.approx(np.transpose(over), abs=1e-10)
    assert len(wkt) < 2048  # what a column of PostGIS holds


def test_what_is_no_national_grid_is_refused():
    tie = GridTie(0.0, 0.0, 0.0)
    for base, words in (("EPSG:4326", "not a projected"), ("EPSG:2263", "not in metres"), ("a wish", "known to PROJ")):
        with pytest.raises(ProcessingError, match=words):
            tied_crs_wkt("Site", base, tie)
    assert base_name("EPSG:25832") == "ETRS89 / UTM zone 32N (EPSG:25832)"


def test_scale_of_the_projection():
    """UTM: 0.9996 on the central meridian by definition."""
    assert point_scale("EPSG:25832", 500000.0, 5335000.0) == pytest.approx(0.9996, abs=1e-9)


def test_a_local_grid_is_projected_and_says_that_it_is_local():
    crs = pyproj.CRS.from_wkt(local_crs_wkt('Hall "7"'))
    assert crs.is_projected
    assert crs.name == "Hall '7' (local, not tied)"


def pairs(errors=0.0, scale=1.00012, sigma=0.003):
    site = np.array([(0.0, 0.0), (180.0, 5.0), (175.0, 70.0), (-4.0, 66.0)])
    base = GridTie.from_degrees(691000.0, 5335000.0, 23.5, scale).to_base(site) + errors
    return [PointPair(f"G{n}", tuple(here), tuple(there), sigma) for n, (here, there) in enumerate(zip(site, base), 1)]


def test_pairs_give_the_tie_back():
    fit = fit_tie(pairs())
    assert (fit.tie.east_m, fit.tie.north_m) == pytest.approx((691000.0, 5335000.0), abs=1e-6)
    assert fit.tie.scale == pytest.approx(1.00012, abs=1e-10)
    assert fit.rotation_deg == pytest.approx(23.5, abs=1e-8)
    assert fit.warnings == ()
    # One of four points of 3 mm, arms of about 96 m: 3 mm / sqrt(sum of squared arms).
    arms = np.array([pair.site_m for pair in pairs()])
    arms = arms - arms.mean(axis=0)
    assert fit.sigma_scale == pytest.approx(0.003 / np.sqrt(np.sum(arms**2)), rel=1e-3)


def test_a_given_scale_is_kept():
    fit = fit_tie(pairs(scale=0.9996), scale=0.9996)
    assert fit.tie.scale == 0.9996
    assert fit.worst_residual_m < 1e-6
    assert fit.tie.to_base([(180.0, 5.0)])[0] == pytest.approx(pairs(scale=0.9996)[1].base_m, abs=1e-6)


def test_a_wrong_pair_is_named_and_two_pairs_check_nothing():
    errors = np.zeros((4, 2))
    errors[2, 1] = 0.08
    assert "Point G3 disagrees" in fit_tie(pairs(errors)).warnings[0]
    assert "Nothing checks the tie" in fit_tie(pairs()[:2]).warnings[0]


def test_pairs_that_cannot_be_meant_are_refused():
    """The second case: coordinates of a public question (gis.stackexchange.com 366578) with a scale of 1.041."""
    local = [(7950.0, 1000.0), (7650.0, 850.0), (7850.0, 850.0)]
    national = [(383276.37, 6359888.50), (382941.47, 6359791.40), (383155.14, 6359756.31)]
    mixed = [PointPair(str(n), *both) for n, both in enumerate(zip(local, national))]
    for given, words in ((pairs()[:1], "two or more"), (mixed, "1.041"), ([pairs()[0]] * 2, "no direction")):
        with pytest.raises(ProcessingError, match=words):
            fit_tie(given)
