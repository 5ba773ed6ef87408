"""The coordinate system of a GeoPackage, changed while coordinates stay as they are."""

import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path
from typing import Mapping

from ..common.gdal_failures import closing_dataset, done, quiet_gdal
from ..common.packages import import_gdal
from .geopackage import check_geopackage, write_geopackage
from .layer import Layer
from .replacing import replacing


def restamp(path, crs_wkt: str, metadata: Mapping[str, str]) -> None:
    """Gives every layer of the GeoPackage at `path` another coordinate system, and the file `metadata`.

    Raises `SurveyError` if `path` is no GeoPackage, `ProcessingError` when it cannot be written or replaced.
    """
    check_geopackage(path)
    _, ogr, _ = import_gdal()
    with replacing(path, {}, copied=True) as part:
        with closing(sqlite3.connect(part)) as copy:
            stamp_crs(copy, crs_wkt)
            copy.commit()
        with quiet_gdal(), closing_dataset(ogr.Open(str(part), 1)) as dataset:
            for key, value in metadata.items():
                done(dataset.SetMetadataItem(key, value))


def stamp_crs(target, crs_wkt: str) -> None:
    """Puts a coordinate system in the place of the one that all layers of the GeoPackage `target` (a connection) have."""
    with tempfile.TemporaryDirectory() as folder:
        # How GDAL itself stores this system: a file with one layer in it says so.
        pattern = Path(folder) / "pattern.gpkg"
        write_geopackage(pattern, [Layer("pattern", "Point", {}, [])], crs_wkt)
        with closing(sqlite3.connect(pattern)) as source:
            _copy_crs(source, target)


def _copy_crs(source, target) -> None:
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
