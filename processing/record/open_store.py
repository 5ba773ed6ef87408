"""Which of the two stores a text names."""

from ..common.errors import ProcessingError
from ..common.language import tr
from .store import Store
from .store_geopackage import GeoPackageStore
from .store_postgis import PostgisStore, is_connection


def open_store(record: str) -> Store:
    """The store at `record`: the path of a GeoPackage, or words of libpq with a schema (`host=... dbname=... schema=...`)."""
    record = str(record).strip()
    if not record:
        raise ProcessingError(tr("Choose where the record lies: a GeoPackage, or a database and a schema in it."))
    return PostgisStore(record) if is_connection(record) else GeoPackageStore(record)
