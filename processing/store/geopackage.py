"""Layers in and out of a GeoPackage, whole files or single layers, never half of one.

Writing always goes to a temporary file beside the target, which takes its place once it was read back. The content depends on the
layers alone: the time stamps that a GeoPackage demands are a fixed date.
"""

import json
import sqlite3
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Dict, Iterable, List, Mapping, Optional, Sequence, Tuple

from ..common.errors import SurveyError
from ..common.gdal_failures import GdalFailure, closing_dataset, done, given, quiet_gdal
from ..common.language import tr
from ..common.packages import import_gdal
from ..geometry.shapes import coordinates_of
from .layer import Layer, add_row
from .replacing import SQLITE_START, cannot_be_read, replacing, start_of
from .schema import SCHEMA_VERSION, SCHEMA_VERSION_KEY
from .table_schema import Table


class Row(dict):
    """Values by column. One that is asked for and not there is told in a sentence: another version may have made the file."""

    __slots__ = ("_origin",)

    def __init__(self, values, path, layer: str):
        super().__init__(values)
        self._origin = (path, layer)

    def __missing__(self, column):
        path, layer = self._origin
        raise SurveyError(
            tr(
                "{path} cannot be used, because its layer {layer} has no column {column}: another version of Inslab wrote it, "
                "or somebody changed it. Process the survey again into another folder.",
                path=path,
                layer=layer,
                column=column,
            )
        )

    def require(self, columns: Iterable[str]) -> None:
        """Raises `SurveyError` where a column is not there."""
        for column in columns:
            self[column]

    def copy(self) -> "Row":
        return Row(self, *self._origin)


def write_geopackage(path, layers: Sequence[Layer], crs_wkt: str, metadata: Optional[Mapping[str, str]] = None) -> None:
    """Writes a new GeoPackage with `layers` and replaces any file at `path`.

    `metadata` items belong to the file as a whole. Raises `ProcessingError` when the file cannot be written or replaced.
    """
    with replacing(path, _row_counts(layers)) as part, _new(part) as dataset:
        for key, value in (metadata or {}).items():
            done(dataset.SetMetadataItem(key, value))
        _add_layers(dataset, layers, crs_wkt)


def make_tables(part, layers: Sequence[Layer], crs_wkt: str) -> None:
    """Makes a GeoPackage of the tables of `layers`, all empty. Raises `GdalFailure`; what was made until then is left lying."""
    with _new(part) as dataset:
        crs = _spatial_reference(crs_wkt)
        for layer in layers:
            _add_table(dataset, layer, crs)


@contextmanager
def _new(part):
    _, ogr, _ = import_gdal()
    with quiet_gdal():
        # Version 1.2 is read by everything in use; newer GDAL would write 1.4, of which older ones warn.
        made = ogr.GetDriverByName("GPKG").CreateDataSource(str(part), options=["VERSION=1.2"])
        with closing_dataset(made) as dataset:
            yield dataset


def replace_layers(path, layers: Sequence[Layer], crs_wkt: str) -> None:
    """Puts `layers` into the GeoPackage at `path`; layers of the same name are replaced, all others stay as they are.

    Raises `SurveyError` if `path` is no GeoPackage, or a later version's, `ProcessingError` when it cannot be written or replaced.
    """
    check_geopackage(path)
    _, ogr, _ = import_gdal()
    with replacing(path, _row_counts(layers), copied=True) as part, quiet_gdal():
        opened = ogr.Open(str(part), 1)
        with closing_dataset(opened) as dataset:
            _check_version(dataset, path)
            for layer in layers:
                for index in range(dataset.GetLayerCount()):
                    if dataset.GetLayer(index).GetName() == layer.name:
                        done(dataset.DeleteLayer(index))
                        break
            _add_layers(dataset, layers, crs_wkt)


def _row_counts(layers: Sequence[Layer]) -> Dict[str, int]:
    return {layer.name: len(layer.rows) for layer in layers}


def read_layer(path, name: str) -> List[Tuple[object, Row]]:
    """All rows of one layer as (coordinates, values), as in `Layer`; empty where there is no such layer.

    Raises `SurveyError` if `path` is no GeoPackage, or a later version's; so does asking a row for a column that it lacks.
    """
    return read_layers(path, [name])[0][name]


def read_metadata(path, key: str) -> Optional[str]:
    """One metadata item of the file as a whole, or None. Raises `SurveyError` if `path` is no GeoPackage."""
    return read_layers(path, (), [key])[1][key]


def read_layers(
    path, names: Sequence[str], keys: Sequence[str] = (), together: Sequence[str] = ()
) -> Tuple[Dict[str, List[Tuple[object, Row]]], Dict[str, Optional[str]]]:
    """Rows of several layers by name, as `read_layer` gives them, and metadata items by key: the file is opened once.

    Raises `SurveyError` as `read_layer` does, and where some of the layers `together`, which one step writes, are there without
    the others: one that is missing would count as one that holds nothing.
    """
    with _reading(path) as dataset:
        _check_version(dataset, path)
        missing = [name for name in together if dataset.GetLayerByName(name) is None]
        if len(missing) < len(together):
            _refuse_missing(path, missing)
        rows = {name: _rows(dataset.GetLayerByName(name), path) for name in names}
        metadata = {key: dataset.GetMetadataItem(key) for key in keys}
    return rows, metadata


def check_layers(path, tables: Sequence[Table]) -> None:
    """Raises `SurveyError` where the GeoPackage at `path` lacks one of `tables`, which a step would take for empty."""
    with _reading(path) as dataset:
        _check_version(dataset, path)
        missing = [table.name for table in tables if dataset.GetLayerByName(table.name) is None]
    _refuse_missing(path, missing)


def _refuse_missing(path, names: Sequence[str]) -> None:
    if names:
        raise SurveyError(
            tr(
                "{path} cannot be used, because it has no layer {layer}: another version of Inslab wrote it, or somebody changed "
                "it. Process the survey again into another folder.",
                path=path,
                layer=names[0],
            )
        )


def _rows(layer, path) -> List[Tuple[object, Row]]:
    if layer is None:
        return []
    definition = layer.GetLayerDefn()
    title, names = layer.GetName(), [definition.GetFieldDefn(i).GetName() for i in range(definition.GetFieldCount())]
    # By number: by name, GDAL looks for the column each time.
    return [
        (coordinates_of(row.GetGeometryRef()), Row(zip(names, map(row.GetField, range(len(names)))), path, title))
        for row in layer
    ]


def as_json(values: Mapping) -> str:
    """One line of JSON with sorted keys, so that equal values give equal text."""
    return json.dumps(values, sort_keys=True, ensure_ascii=False, default=str)


def check_geopackage(path) -> None:
    path = Path(path)
    try:
        start = start_of(path)
    except OSError as error:
        raise SurveyError(
            tr(
                "{path} cannot be read ({reason}); choose the survey.gpkg of a survey.",
                path=path,
                reason=error.strerror,
            )
        ) from error
    if start != SQLITE_START:
        raise SurveyError(tr("{path} is not a GeoPackage; choose the survey.gpkg of a survey.", path=path))
    if _has_views(path):
        raise SurveyError(
            tr(
                "{path} contains views (stored queries), which a survey never does, and is not read; choose another "
                "file.",
                path=path,
            )
        )


def _check_version(dataset, path) -> None:
    """Raises `SurveyError` for a survey whose schema is a later one. Earlier files state none and pass; a record states its own."""
    version = dataset.GetMetadataItem(SCHEMA_VERSION_KEY) or "0"
    if not version.isdecimal() or int(version) > SCHEMA_VERSION:
        raise SurveyError(
            tr("{path} was written by a later version of Inslab; update Inslab, then open it again.", path=path)
        )


def _has_views(path: Path) -> bool:
    """A view may compute without an end when it is read, and is nothing that Inslab writes."""
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as file:
            return file.execute("SELECT 1 FROM sqlite_master WHERE type = 'view'").fetchone() is not None
    except sqlite3.Error:
        return False  # what is wrong with it is said when it is read


@contextmanager
def _reading(path):
    """The GeoPackage at `path` as a dataset. What keeps it from being read is told in a sentence."""
    check_geopackage(path)
    _, ogr, _ = import_gdal()
    try:
        # Closed while PAM is off: it is on closing that GDAL 3.10 writes a file beside the one it read.
        with quiet_gdal(), closing_dataset(ogr.Open(str(path))) as dataset:
            yield dataset
    except GdalFailure as error:
        raise cannot_be_read(path, error) from error


def _spatial_reference(crs_wkt: str):
    _, _, osr = import_gdal()
    crs = osr.SpatialReference()
    done(crs.ImportFromWkt(crs_wkt))
    crs.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    return crs


def _add_layers(dataset, layers: Sequence[Layer], crs_wkt: str) -> None:
    crs = _spatial_reference(crs_wkt)
    for layer in layers:
        target = _add_table(dataset, layer, crs)
        done(dataset.StartTransaction())
        for coordinates, values in layer.rows:
            add_row(target, layer, coordinates, values)
        done(dataset.CommitTransaction())


def _add_table(dataset, layer: Layer, crs):
    """An empty table for `layer`, as GDAL's layer."""
    _, ogr, _ = import_gdal()
    kinds = {
        None: ogr.wkbNone,
        "Point": ogr.wkbPoint,
        "PointZ": ogr.wkbPoint25D,
        "LineString": ogr.wkbLineString,
        "LineStringZ": ogr.wkbLineString25D,
        "Polygon": ogr.wkbPolygon,
        "MultiPolygonZ": ogr.wkbMultiPolygon25D,
    }
    types = {str: ogr.OFTString, int: ogr.OFTInteger, float: ogr.OFTReal, bool: ogr.OFTInteger}
    options = [f"DESCRIPTION={layer.description}", f"IDENTIFIER={layer.name}", "FID=fid", "GEOMETRY_NAME=geom"]
    target = given(dataset.CreateLayer(layer.name, crs if layer.geometry else None, kinds[layer.geometry], options))
    for name, kind in layer.fields.items():
        column = ogr.FieldDefn(name, types[kind])
        if kind is bool:
            column.SetSubType(ogr.OFSTBoolean)
        done(target.CreateField(column))
    return target
