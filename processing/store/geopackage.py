"""Layers in and out of a GeoPackage, whole files or single layers, never half of one.

Writing always goes to a temporary file beside the target, which takes its place at the end. The content depends on the
layers alone: the time stamps that a GeoPackage demands are a fixed date. GDAL's Python module is imported only here.
"""

import json
import os
import sqlite3
import tempfile
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Dict, Iterable, List, Mapping, Optional, Sequence, Tuple

from ..common.errors import ProcessingError, SurveyError
from ..common.gdal_failures import without_gdal_exceptions
from ..common.language import tr
from ..common.packages import import_gdal
from ..geometry.shapes import coordinates_of
from .layer import Layer, add_row
from .schema import SCHEMA_VERSION, SCHEMA_VERSION_KEY
from .table_schema import Table

WINDOWS = os.name == "nt"
SQLITE_START = b"SQLite format 3\0"  # https://www.sqlite.org/fileformat.html, section 1.2.1
FIXED_DATE = "2000-01-01T00:00:00.000Z"


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
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    with _temporary(path) as part:
        gdal, ogr, _ = import_gdal()
        with _gdal_failures(path):
            # Version 1.2 is read by everything in use; newer GDAL would write 1.4, of which older ones warn.
            dataset = ogr.GetDriverByName("GPKG").CreateDataSource(str(part), options=["VERSION=1.2"])
            if dataset is None:
                reason = gdal.GetLastErrorMsg() or tr("no file can be created there")
                raise ProcessingError(
                    tr("{path} cannot be written ({reason}); choose another place for it.", path=path, reason=reason)
                )
            for key, value in (metadata or {}).items():
                dataset.SetMetadataItem(key, value)
            _add_layers(dataset, layers, crs_wkt)
            dataset = None  # closes and writes


def replace_layers(path, layers: Sequence[Layer], crs_wkt: str) -> None:
    """Puts `layers` into the GeoPackage at `path`; layers of the same name are replaced, all others stay as they are."""
    path = Path(path)
    _check_geopackage(path)
    with _temporary(path) as part:
        _, ogr, _ = import_gdal()
        with _gdal_failures(path):
            _copy(path, part)
            dataset = ogr.Open(str(part), 1)
            _check_version(dataset, path)
            for layer in layers:
                for index in range(dataset.GetLayerCount()):
                    if dataset.GetLayer(index).GetName() == layer.name:
                        dataset.DeleteLayer(index)
                        break
            _add_layers(dataset, layers, crs_wkt)
            dataset = None


def restamp(path, crs_wkt: str, metadata: Mapping[str, str]) -> None:
    """Gives every layer of the GeoPackage at `path` another coordinate system, and the file `metadata`; coordinates stay as
    they are.
    """
    path = Path(path)
    _check_geopackage(path)
    with _temporary(path) as part:
        _, ogr, _ = import_gdal()
        with _gdal_failures(path), tempfile.TemporaryDirectory() as folder:
            # How GDAL itself stores this system: a file with one layer in it says so.
            pattern = Path(folder) / "pattern.gpkg"
            dataset = ogr.GetDriverByName("GPKG").CreateDataSource(str(pattern), options=["VERSION=1.2"])
            _add_layers(dataset, [Layer("pattern", "Point", {}, [])], crs_wkt)
            dataset = None
            _copy(path, part)
            with closing(sqlite3.connect(pattern)) as source, closing(sqlite3.connect(part)) as copy:
                _copy_crs(source, copy)
                copy.commit()
            dataset = ogr.Open(str(part), 1)
            for key, value in metadata.items():
                dataset.SetMetadataItem(key, value)
            dataset = None


def _copy_crs(source, target) -> None:
    """Puts the one coordinate system of the GeoPackage `source` in the place of the one that `target` uses (connections)."""
    source.row_factory = sqlite3.Row
    number = source.execute("SELECT srs_id FROM gpkg_geometry_columns").fetchone()[0]
    row = dict(source.execute("SELECT * FROM gpkg_spatial_ref_sys WHERE srs_id = ?", (number,)).fetchone())
    wide, has_wide = "definition_12_063", "SELECT 1 FROM pragma_table_info('gpkg_spatial_ref_sys') WHERE name = ?"
    if wide in row and not target.execute(has_wide, (wide,)).fetchone():
        # Extension 'WKT for coordinate reference systems' of the GeoPackage standard (OGC 12-128r18, annex F.10).
        target.execute(f"ALTER TABLE gpkg_spatial_ref_sys ADD COLUMN {wide} TEXT NOT NULL DEFAULT 'undefined'")
        for line in source.execute("SELECT * FROM gpkg_extensions WHERE extension_name LIKE 'gpkg_crs_wkt%'"):
            target.execute("INSERT INTO gpkg_extensions VALUES (?, ?, ?, ?, ?)", tuple(line))
    names = [name for name in ("srs_name", "definition", "description", wide) if name in row]
    values = [row[name] for name in names]
    if wide not in row and target.execute(has_wide, (wide,)).fetchone():
        names.append(wide)
        values.append(row["definition"])
    target.execute(
        f"UPDATE gpkg_spatial_ref_sys SET {', '.join(f'{name} = ?' for name in names)} "  # noqa: S608  # nosec B608  (names from above)
        "WHERE srs_id IN (SELECT srs_id FROM gpkg_geometry_columns)",
        values,
    )


def _copy(path, part) -> None:
    """Copies a database as it stands now, with what other programs have not yet moved from their journal into it."""
    with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(part)) as copy:
        source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")  # the copy is ours alone


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
    _check_geopackage(path)
    _, ogr, _ = import_gdal()
    with _gdal_failures(path):
        dataset = ogr.Open(str(path))
        _check_version(dataset, path)
        missing = [name for name in together if dataset.GetLayerByName(name) is None]
        if len(missing) < len(together):
            _refuse_missing(path, missing)
        rows = {name: _rows(dataset.GetLayerByName(name), path) for name in names}
        metadata = {key: dataset.GetMetadataItem(key) for key in keys}
        # Closed while PAM is off: it is on closing that GDAL 3.10 writes a file beside the one it read.
        dataset = None
    return rows, metadata


def check_layers(path, tables: Sequence[Table]) -> None:
    """Raises `SurveyError` where the GeoPackage at `path` lacks one of `tables`, which a step would take for empty."""
    _check_geopackage(path)
    _, ogr, _ = import_gdal()
    with _gdal_failures(path):
        dataset = ogr.Open(str(path))
        _check_version(dataset, path)
        missing = [table.name for table in tables if dataset.GetLayerByName(table.name) is None]
        dataset = None
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


def check_replaceable(path) -> None:
    """Raises `ProcessingError` while another program is in the middle of writing to the GeoPackage at `path`."""
    if not Path(path).is_file():
        return
    try:
        with closing(sqlite3.connect(path, timeout=1.0)) as file:
            file.execute("BEGIN IMMEDIATE")
            file.rollback()
    except sqlite3.Error as error:
        if "locked" in str(error):
            raise ProcessingError(
                tr(
                    "{path} is being written to by another program: save the changes and stop editing there, "
                    "then run this again.",
                    path=path,
                )
            ) from error


def is_open(path) -> bool:
    """May a program have the GeoPackage at `path` open, so that its content must be exchanged rather than the file?

    QGIS keeps a journal beside it from the first edit until it lets go of it. On Windows a file that is merely shown cannot be
    replaced either, and nothing tells of it.
    """
    if Path(f"{path}-wal").exists():
        return True
    return WINDOWS and Path(path).is_file() and _start_of(path) == SQLITE_START


def put_in_place(part, path) -> None:
    """Makes the finished file `part` the one at `path`, whole or not at all.

    Moved under a program that keeps a journal beside the file, the new one would be spoilt by it; then the content is copied
    into the file in one transaction, and the program goes on with it. Raises `ProcessingError`.
    """
    try:
        if is_open(path):
            with closing(sqlite3.connect(part)) as new, closing(sqlite3.connect(path)) as target:
                new.backup(target)
        else:
            Path(part).replace(path)
    except (OSError, sqlite3.Error) as error:
        reason = getattr(error, "strerror", None) or error
        raise ProcessingError(
            tr(
                "{path} cannot be replaced ({reason}); close it in other programs, then run this again.",
                path=path,
                reason=reason,
            )
        ) from error


def as_json(values: Mapping) -> str:
    """One line of JSON with sorted keys, so that equal values give equal text."""
    return json.dumps(values, sort_keys=True, ensure_ascii=False, default=str)


def _start_of(path) -> bytes:
    with Path(path).open("rb") as file:
        return file.read(len(SQLITE_START))


def _check_geopackage(path) -> None:
    path = Path(path)
    try:
        start = _start_of(path)
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
def _temporary(path: Path):
    """A temporary name beside `path`; moved into place if the block succeeds, removed if not."""
    check_replaceable(path)
    part = path.with_name(f".{path.name}.{os.getpid()}.part.gpkg")
    part.unlink(missing_ok=True)
    try:
        yield part
        put_in_place(part, path)
    finally:
        for suffix in ("", "-journal", "-wal", "-shm"):
            Path(f"{part}{suffix}").unlink(missing_ok=True)


@contextmanager
def _gdal_failures(path):
    """Turns GDAL's two ways of failing (None or, where another plugin asked for it, exceptions) into one sentence.

    `ogr.UseExceptions()` is not called: inside QGIS it would change how GDAL behaves for every other plugin.
    """
    gdal, _, _ = import_gdal()
    # Where there is a setting for this thread alone, others are left in peace.
    set_option = getattr(gdal, "SetThreadLocalConfigOption", gdal.SetConfigOption)
    # PAM off: newer GDAL would leave a file of statistics beside a GeoPackage that was merely read.
    options = {"OGR_CURRENT_DATE": FIXED_DATE, "GDAL_PAM_ENABLED": "NO"}
    earlier = {name: gdal.GetConfigOption(name) for name in options}
    for name, value in options.items():
        set_option(name, value)
    gdal.ErrorReset()
    gdal.PushErrorHandler("CPLQuietErrorHandler")
    try:
        with without_gdal_exceptions():
            yield
    except (RuntimeError, AttributeError, TypeError, sqlite3.Error) as error:
        reason = gdal.GetLastErrorMsg() or str(error)
        raise ProcessingError(tr("{path} cannot be read or written: {reason}", path=path, reason=reason)) from error
    finally:
        gdal.PopErrorHandler()
        for name, value in earlier.items():
            set_option(name, value)


def _add_layers(dataset, layers: Sequence[Layer], crs_wkt: str) -> None:
    _, ogr, osr = import_gdal()
    crs = osr.SpatialReference()
    crs.ImportFromWkt(crs_wkt)
    crs.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
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
    for layer in layers:
        options = [f"DESCRIPTION={layer.description}", f"IDENTIFIER={layer.name}", "FID=fid", "GEOMETRY_NAME=geom"]
        target = dataset.CreateLayer(layer.name, crs if layer.geometry else None, kinds[layer.geometry], options)
        for name, kind in layer.fields.items():
            column = ogr.FieldDefn(name, types[kind])
            if kind is bool:
                column.SetSubType(ogr.OFSTBoolean)
            target.CreateField(column)
        dataset.StartTransaction()
        for coordinates, values in layer.rows:
            add_row(target, layer, coordinates, values)
        dataset.CommitTransaction()
