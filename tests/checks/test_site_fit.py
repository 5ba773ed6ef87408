"""The fit of an area against published worked examples and transformations."""

import numpy as np
import pytest
from site_fits import fit_area

from inslab.processing.site.control import similarity
from inslab.processing.survey.model import ControlPoint, ScanArea


def area_of(local, site, sigma):
    points = tuple(
        ControlPoint("A", f"P{n}", tuple(here), tuple(there), sigma)
        for n, (here, there) in enumerate(zip(local, site), 1)
    )
    return ScanArea("A", "L1", "top", 0.06, 1500.0, control_points=points)


def test_conformal_example_of_ghilani_and_wolf():
    """Ghilani and Wolf, Adjustment Computations, Example 18.1: printed a, b, T_E, T_N (data read in public code files).

    The scale is the one that a rigid fit is checked with; the rotation is that of the rigid fit as well.
    """
    local = np.array([[121.622, -128.066], [141.228, 187.718], [175.802, 135.728]])
    site = np.array([[1049422.40, 51089.20], [1049413.95, 49659.30], [1049244.95, 49884.95]])
    scale, rotation, shift = similarity(local, site, np.ones(3))
    assert scale * np.cos(rotation) == pytest.approx(-4.51249, abs=5e-6)
    assert scale * np.sin(rotation) == pytest.approx(-0.25371, abs=5e-6)
    assert shift == pytest.approx([1050003.715, 50542.131], abs=5e-4)


def test_rigid_fit_of_a_four_foot_grid():
    """Own data; reference values computed independently by singular value decomposition, by Gauss-Newton and with
    scikit-image's EuclideanTransform, which agree to 1e-9.
    """
    side = 1.2192
    local = np.array([[0, 0], [side, 0], [side, side], [0, side], [side / 2, side / 2]])
    site = np.array(
        [
            [1000.2512, 500.7492],
            [1001.4382, 501.0145],
            [1001.1768, 502.2061],
            [999.9870, 501.9388],
            [1000.7125, 501.4774],
        ]
    )
    fit = fit_area(area_of(local, site, 0.001))
    assert np.degrees(fit.rotation_rad) == pytest.approx(12.538752591, abs=1e-8)
    assert fit.shift_m == pytest.approx([1000.250423425, 500.749795236], abs=1e-8)
    assert fit.degrees_of_freedom == 7
    assert fit.sigma0 * 1.0 == pytest.approx(1.356325, abs=1e-6)  # of unit weight 1 mm
    # The reference sigmas are scaled by sigma0; the fit scales only where it is significantly above 1, which 1.36 is not.
    assert fit.sigma0 * np.degrees(np.sqrt(fit.covariance[2, 2])) == pytest.approx(0.045071, abs=1e-6)
    at_origin = fit.sigma0**2 * fit.covariance_at([[0.0, 0.0]])[0]
    assert 1000 * np.sqrt(np.diag(at_origin)) == pytest.approx([0.833870, 0.707398], abs=1e-6)


def test_published_plant_grid():
    """EPSG transformation 15747 (plant grid to Nakhl-e Ghanem / UTM 39N, method 9621) as published in the EPSG data set:
    the similarity that leads from its own points back to its parameters, and its example point 20000, 10000 ->
    618336.748, 3067774.210 (example quoted from memory, parameters from PROJ's copy of the data set).
    """
    pyproj = pytest.importorskip("pyproj")
    pipeline = pyproj.Transformer.from_pipeline(
        "+proj=helmert +x=611267.2865 +y=3046565.8255 +s=0.9997728332 +theta=1134000"  # 315 degrees, arc-seconds
    )
    local = np.array([[0.0, 0.0], [1000.0, 0.0], [0.0, 1000.0], [20000.0, 10000.0]])
    site = np.column_stack(pipeline.transform(local[:, 0], local[:, 1]))
    assert site[3] == pytest.approx([618336.748, 3067774.210], abs=5e-4)
    scale, rotation, shift = similarity(local, site, np.ones(4))
    assert scale == pytest.approx(0.9997728332, abs=1e-11)
    assert np.degrees(rotation) == pytest.approx(45.0, abs=1e-9)  # theta counts clockwise: 315 is 45 anticlockwise
    assert shift == pytest.approx([611267.2865, 3046565.8255], abs=1e-5)
    # As an area on a site its scale is 227 ppm off: told, never absorbed.
    assert "-0.02 %" in fit_area(area_of(local, site, 0.01)).warnings[0]


def test_published_shift_between_two_datums():
    """EPSG 5166 (ED50 / UTM 31N to ETRS89 / UTM 31N, method 9621): IOGP Guidance Note 7-2 prints 300000, 4500000 ->
    299905.060, 4499796.515. The rigid part of it, from points made with the published formula written out here.
    """
    theta, factor = np.radians(1.56504 / 3600), 1.0000015504
    local = np.array([[300000.0, 4500000.0], [300100.0, 4500000.0], [300000.0, 4500100.0]])
    x, y = local.T
    site = np.column_stack(
        [
            -129.549 + factor * (x * np.cos(theta) + y * np.sin(theta)),
            -208.185 + factor * (-x * np.sin(theta) + y * np.cos(theta)),
        ]
    )
    fit = fit_area(area_of(local, site, 0.003))
    assert fit.warnings == ()  # 1.6 ppm over 100 m is nothing
    assert fit.to_site(local[:1])[0] == pytest.approx([299905.060, 4499796.515], abs=1e-3)
    assert np.degrees(-fit.rotation_rad) * 3600 == pytest.approx(1.56504, abs=1e-4)


def test_points_of_a_mixed_up_job_are_refused():
    """gis.stackexchange.com question 366578 (coordinates read there): three pairs that fit a scale of 1.041 with residuals
    of metres. Control like that must not place anything.
    """
    local = np.array([[7950.0, 1000.0], [7650.0, 850.0], [7850.0, 850.0]])
    site = np.array([[383276.37, 6359888.50], [382941.47, 6359791.40], [383155.14, 6359756.31]])
    fit = fit_area(area_of(local, site, 0.01))
    assert not fit.is_fitted
    assert "1.041" in fit.warnings[-1]
