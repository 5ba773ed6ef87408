"""Polygons out of any collection, by hand."""

import pytest

from inslab.processing.geometry import shapes

ogr = pytest.importorskip("osgeo.ogr")
SQUARE = "POLYGON ((0 0, 2 0, 2 2, 0 2, 0 0))"


@pytest.mark.parametrize(
    ("wkt", "areas"),
    [
        (SQUARE, [4.0]),
        ("POLYGON EMPTY", []),
        ("POINT (1 1)", []),
        ("MULTIPOLYGON (((0 0, 1 0, 1 1, 0 0)), ((5 5, 7 5, 7 7, 5 7, 5 5)))", [0.5, 4.0]),
        (
            f"GEOMETRYCOLLECTION (POINT (1 1), {SQUARE}, GEOMETRYCOLLECTION (LINESTRING (0 0, 1 1), {SQUARE}))",
            [4.0, 4.0],
        ),
    ],
)
def test_polygons_of_any_geometry(wkt, areas):
    found = shapes.polygons_in(ogr.CreateGeometryFromWkt(wkt))
    assert [one.GetArea() for one in found] == pytest.approx(areas)


def test_polygons_of_nothing():
    assert shapes.polygons_in(None) == []
