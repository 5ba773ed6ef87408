"""Where a record lies, as a person says it in QGIS: a GeoPackage, or a PostGIS connection of QGIS and a schema.

Only here is a connection of QGIS read; what computes gets plain words of libpq. The name of a connection goes into QGIS's history
of runs, a password never needs to.
"""

from pathlib import Path

from qgis.core import QgsDataSourceUri, QgsProcessingParameterFile, QgsProviderConnectionException, QgsProviderRegistry

from ...processing.common.errors import ProcessingError
from ...processing.common.language import tr
from ...processing.record.schema import GEOMETRY, TABLES
from ...processing.record.store_postgis import DEFAULT_SCHEMA, is_connection, split_schema
from ..project.layers import table_source

PREFIX = "postgres:"
HELP = tr(
    "The building's record: a GeoPackage, or postgres:NAME/SCHEMA with the name of a PostGIS connection of QGIS. A "
    "libpq connection string (host=... dbname=... schema=...) works as well."
)


def record_parameter(name):
    """The parameter for a record; a database is typed, a file may be chosen."""
    files = tr("GeoPackage (*.gpkg);;All files (*)")  # without the latter QGIS refuses a database
    return QgsProcessingParameterFile(name, tr("Record"), QgsProcessingParameterFile.Behavior.File, fileFilter=files)


def connection_names() -> list:
    """Names of the PostGIS connections that QGIS knows."""
    metadata = QgsProviderRegistry.instance().providerMetadata("postgres")
    return sorted(metadata.connections(False)) if metadata is not None else []


def text_of_connection(name: str, schema: str = DEFAULT_SCHEMA) -> str:
    """How a record behind a connection of QGIS is named."""
    return f"{PREFIX}{name}/{schema}"


def record_words(text: str) -> str:
    """What `processing` calls the record that a person named. Raises `ProcessingError` where QGIS has no such connection."""
    text = text.strip()
    if not text.startswith(PREFIX):
        return text
    name, _, schema = text[len(PREFIX) :].partition("/")
    try:
        connection = QgsProviderRegistry.instance().providerMetadata("postgres").findConnection(name)
    except QgsProviderConnectionException:
        connection = None
    if connection is None:
        raise ProcessingError(
            tr(
                "QGIS has no PostGIS connection {name}: create it in the Browser panel, or write its name as shown "
                "there.",
                name=name,
            )
        )
    words = QgsDataSourceUri(connection.uri()).connectionInfo(True)
    return f"{words} schema='{schema or DEFAULT_SCHEMA}'"


def problems_of(text: str, must_exist: bool) -> list:
    """Sentences on a record that cannot be used."""
    text = text.strip()
    if text.startswith(PREFIX) or is_connection(text):
        try:
            record_words(text)
        except ProcessingError as error:
            return [str(error)]
        return []
    if Path(text).suffix.lower() != ".gpkg":
        return [tr("{path} is not a GeoPackage: give the record a name that ends in .gpkg.", path=text)]
    if must_exist and not Path(text).is_file():
        return [tr("There is no record {path}: run 'Update the record' with a survey first.", path=text)]
    return []


def layer_source(words: str, table: str) -> str:
    """Source of one table of a record as QGIS opens it."""
    if not is_connection(words):
        return table_source(words, table)
    connection, schema = split_schema(words)
    uri = QgsDataSourceUri(connection)
    uri.setDataSource(schema, table, GEOMETRY if TABLES[table].geometry else "", "", "fid")
    return uri.uri(False)
