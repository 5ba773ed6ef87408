"""Editing a layer of a GeoPackage as QGIS's data provider does it: feature by feature, through GDAL."""

from contextlib import contextmanager

import numpy as np
from osgeo import ogr


@contextmanager
def opened(path, name):
    """The layer, open for writing, in a transaction."""
    dataset = ogr.Open(str(path), 1)
    layer = dataset.GetLayerByName(name)
    layer.StartTransaction()
    yield layer
    layer.CommitTransaction()


def change(path, name, row_id, line=None, **values):
    """Gives one row (by its item_id, pick_id or row_id) another geometry or other values."""
    with opened(path, name) as layer:
        feature = _find(layer, name, row_id)
        _fill(feature, line, values)
        assert layer.SetFeature(feature) == 0


def delete(path, name, row_id):
    with opened(path, name) as layer:
        assert layer.DeleteFeature(_find(layer, name, row_id).GetFID()) == 0


def add(path, name, line=None, **values):
    with opened(path, name) as layer:
        feature = ogr.Feature(layer.GetLayerDefn())
        _fill(feature, line, values)
        assert layer.CreateFeature(feature) == 0


def add_column(path, name, column):
    with opened(path, name) as layer:
        assert layer.CreateField(ogr.FieldDefn(column, ogr.OFTString)) == 0


def _find(layer, name, row_id):
    key = {"items": "item_id", "picks": "pick_id"}.get(name, "row_id")
    found = [feature for feature in layer if feature[key] == row_id]
    assert len(found) == 1, f"{len(found)} rows {row_id} in {name}"
    return found[0]


def _fill(feature, line, values):
    for key, value in values.items():
        if value is None:
            feature.SetFieldNull(key)
        else:
            feature.SetField(key, value)
    if line is not None:
        points = np.atleast_2d(line)
        geometry = ogr.Geometry(ogr.wkbPoint25D if len(points) == 1 else ogr.wkbLineString25D)
        for point in points.tolist():
            geometry.AddPoint(*point)
        feature.SetGeometry(geometry)
