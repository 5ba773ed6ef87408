"""Results of earlier versions, kept under tests/data, and what a person or another version may have done to them."""

import gzip
from pathlib import Path

from osgeo import ogr

DATA = Path(__file__).resolve().parents[1] / "data"
FIRST = "version_0.1.0"


def unpack(folder: Path, version: str = FIRST) -> Path:
    """Writes survey.gpkg, record.gpkg and penetrations.gpkg of a version into `folder`; returns the path of the survey."""
    for packed in sorted((DATA / version).glob("*.gz")):
        (folder / packed.stem).write_bytes(gzip.decompress(packed.read_bytes()))
    return folder / "survey.gpkg"


def without_layer(path: Path, name: str) -> None:
    dataset = ogr.Open(str(path), 1)
    assert (
        dataset.DeleteLayer(next(i for i in range(dataset.GetLayerCount()) if dataset.GetLayer(i).GetName() == name))
        == 0
    )


def without_column(path: Path, name: str, column: str) -> None:
    dataset = ogr.Open(str(path), 1)
    layer = dataset.GetLayerByName(name)
    assert layer.DeleteField(layer.GetLayerDefn().GetFieldIndex(column)) == 0


def with_metadata(path: Path, key: str, value: str) -> None:
    dataset = ogr.Open(str(path), 1)
    dataset.SetMetadataItem(key, value)


def with_value(path: Path, name: str, column: str, value) -> None:
    """Sets a column of the first row of a layer; None for NULL."""
    dataset = ogr.Open(str(path), 1)
    layer = dataset.GetLayerByName(name)
    feature = layer.GetNextFeature()
    feature.SetField(column, value) if value is not None else feature.SetFieldNull(column)
    assert layer.SetFeature(feature) == 0
