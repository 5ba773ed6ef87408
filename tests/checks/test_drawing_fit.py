"""The fit of drawings against published worked examples and QGIS's own georeferencing arithmetic (GDAL)."""

import numpy as np
import pytest

from inslab.processing.common.errors import ProcessingError, SurveyError
from inslab.processing.site.drawing_fit import AFFINE, SIMILARITY, DrawingPair, fit_drawing, pairs_from_rows
from inslab.processing.site.statistics import critical_tau


def pairs_of(drawing, site):
    return [DrawingPair(f"P{n}", tuple(here), tuple(there)) for n, (here, there) in enumerate(zip(drawing, site), 1)]


def test_conformal_example_of_ghilani_and_wolf():
    """Adjustment Computations, Example 18.1: printed a, b, T_E, T_N (data read in public code files)."""
    drawing = [(121.622, -128.066), (141.228, 187.718), (175.802, 135.728)]
    site = [(1049422.40, 51089.20), (1049413.95, 49659.30), (1049244.95, 49884.95)]
    fit = fit_drawing(pairs_of(drawing, site), SIMILARITY, False)
    assert fit.matrix == pytest.approx(np.array([[-4.51249, 0.25371], [-0.25371, -4.51249]]), abs=5e-6)
    assert fit.shift_m == pytest.approx([1050003.715, 50542.131], abs=5e-4)
    assert fit.sigma_m == pytest.approx(0.139820475, abs=1e-8)
    assert fit.to_site([(174.148, -120.262)])[0] == pytest.approx([1049187.361, 51040.629], abs=1e-3)


def test_affine_fit_is_that_of_gdal():
    """The four points of Ghilani and Wolf, Example 18.2, with equal weights: `gdal.GCPsToGeoTransform` as the oracle."""
    gdal = pytest.importorskip("osgeo.gdal")
    drawing = [(0.764, 5.96), (5.062, 10.541), (9.663, 6.243), (5.35, 1.654)]
    site = [(-113.0, 0.003), (0.001, 112.993), (112.998, 0.003), (0.001, -112.999)]
    fit = fit_drawing(pairs_of(drawing, site), AFFINE, False)
    points = [gdal.GCP(*there, 0.0, *here) for here, there in zip(drawing, site)]
    c, a, b, f, d, e = gdal.GCPsToGeoTransform(points, 1)
    assert fit.matrix == pytest.approx(np.array([[a, b], [d, e]]), rel=1e-9)
    assert fit.shift_m == pytest.approx([c, f], rel=1e-9)


def test_a_picture_counts_rows_downwards():
    """A picture 100 pixels a metre, north up, upper left corner at 10, 20."""
    drawing = [(0, 0), (1000, 0), (1000, 500)]
    site = [(10, 20), (20, 20), (20, 15)]
    fit = fit_drawing(pairs_of(drawing, site), SIMILARITY, True)
    assert fit.matrix == pytest.approx(np.array([[0.01, 0.0], [0.0, -0.01]]), abs=1e-12)
    assert fit.shift_m == pytest.approx([10, 20])
    assert fit.rotation_deg == pytest.approx(0.0, abs=1e-9)
    assert fit.warnings == ()


@pytest.mark.parametrize(
    ("freedom", "significance", "tau"),
    [(2, 0.001, 1.414212), (5, 0.001, 2.178082), (10, 0.001, 2.678598), (7, 0.05, 1.869843), (50, 0.05, 1.951165)],
)
def test_critical_tau(freedom, significance, tau):
    """Pope's formula (quoted from memory), computed apart from the product."""
    assert critical_tau(freedom, significance) == pytest.approx(tau, abs=1e-6)


def test_tau_keeps_its_significance():
    """With residuals' own sigma estimated from them, 1 % of the fits without any error have a largest ratio above tau for alpha
    0.01 / 12 (twelve coordinates): about the stated rate, by simulation.
    """
    random = np.random.default_rng(3)
    drawing = np.array([(0, 0), (30, 0), (30, 20), (0, 20), (15, 3), (8, 14)], float)
    limit = critical_tau(8, 0.05 / 12)
    above = 0
    for _ in range(1000):
        fit = fit_drawing(pairs_of(drawing, drawing + random.normal(0, 0.01, drawing.shape)), SIMILARITY, False)
        above += max(fit.ratio) > limit
    assert above / 1000 == pytest.approx(0.05, abs=0.02)


def test_a_wrong_point_and_a_mirrored_drawing_are_named():
    drawing = np.array([(0, 0), (30, 0), (30, 20), (0, 20), (15, 8)], float)
    random = np.random.default_rng(1)
    site = drawing + random.normal(0, 0.005, drawing.shape)
    wrong = site.copy()
    wrong[3, 0] += 0.4
    assert "Control point P4 disagrees" in fit_drawing(pairs_of(drawing, wrong), SIMILARITY, False).warnings[-1]
    assert "mirror image" in fit_drawing(pairs_of(drawing * [1, -1], site), SIMILARITY, False).warnings[0]
    assert "Nothing checks the fit" in fit_drawing(pairs_of(drawing[:2], site[:2]), SIMILARITY, False).warnings[0]


def test_points_that_cannot_fit_a_drawing_are_refused():
    line = [(0, 0), (1, 1), (2, 2)]
    for drawing, method, words in (
        (line[:1], SIMILARITY, "2 or more"),
        (line[:2], AFFINE, "3 or more"),
        (line, AFFINE, "one line"),
        ([(1, 1)] * 3, SIMILARITY, "coincide or lie on one line"),
    ):
        with pytest.raises(ProcessingError, match=words):
            fit_drawing(pairs_of(drawing, [(5, 5), (6, 7), (9, 9)][: len(drawing)]), method, False)
    with pytest.raises(SurveyError, match="lack the column drawing_x"):
        pairs_from_rows([({"point_id": "1", "pixel_column": "3"}, (0.0, 0.0))], False)
    with pytest.raises(SurveyError, match="Control point 1A of the drawing: pixel_row is '', not a number"):
        pairs_from_rows([({"point_id": "1A", "pixel_column": "3", "pixel_row": ""}, (0.0, 0.0))], True)
