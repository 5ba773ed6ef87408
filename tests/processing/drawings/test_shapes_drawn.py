"""Every kind of geometry that a drawing may hold, on the site grid."""

import numpy as np
import pytest

from inslab.processing.common.errors import SurveyError
from inslab.processing.drawings.onto_grid import _simple_parts, write_linework
from inslab.processing.site.crs import local_crs_wkt
from inslab.processing.site.drawing_fit import DrawingFit

ogr = pytest.importorskip("osgeo.ogr")
# Millimetres to metres, 10 m further east.
FIT = DrawingFit("similarity", (), np.diag([0.001, 0.001]), np.array([10.0, 0.0]), np.zeros((0, 2)), None, ())


@pytest.mark.parametrize(
    ("wkt", "expected"),
    [
        ("POINT (1000 2000)", [("Point", [11, 2])]),
        ("LINESTRING Z (0 0 7, 1000 0 7)", [("LineString", [(10, 0), (11, 0)])]),
        ("POLYGON ((0 0, 1000 0, 0 1000, 0 0))", [("Polygon", [(10, 0), (11, 0), (10, 1), (10, 0)])]),
        ("MULTIPOINT ((0 0), (1000 0))", [("Point", [10, 0]), ("Point", [11, 0])]),
        ("GEOMETRYCOLLECTION (POINT (0 0), LINESTRING (0 0, 0 1000))", [("Point", [10, 0]), ("LineString", [(10, 0), (10, 1)])]),
        ("POINT EMPTY", []),
    ],
)  # fmt: skip
def test_parts(wkt, expected):
    found = _simple_parts(ogr.CreateGeometryFromWkt(wkt), FIT)
    assert [kind for kind, _ in found] == [kind for kind, _ in expected]
    for (kind, coordinates), (_, place) in zip(found, expected):
        assert np.asarray(coordinates[0] if kind == "Polygon" else coordinates) == pytest.approx(np.array(place, float))


def test_an_arc_becomes_a_polyline_of_its_radius():
    ((kind, line),) = _simple_parts(ogr.CreateGeometryFromWkt("CIRCULARSTRING (0 0, 1000 1000, 2000 0)"), FIT)
    assert kind == "LineString"
    assert len(line) > 10
    assert np.hypot(*(line - [11.0, 0.0]).T) == pytest.approx(np.ones(len(line)))


def test_a_drawing_of_nothing_is_refused(tmp_path):
    path = tmp_path / "empty.dxf"
    path.write_text("  0\nSECTION\n  2\nENTITIES\n  0\nENDSEC\n  0\nEOF\n")
    with pytest.raises(SurveyError, match=r"empty\.dxf contains nothing that can be drawn"):
        write_linework(path, FIT, tmp_path / "out.gpkg", local_crs_wkt())
