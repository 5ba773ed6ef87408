"""A record in each of the two stores."""

import itertools

import pytest

from inslab.processing.record.store import open_store

pytest.importorskip("osgeo")

_schemas = (f"record_{number}" for number in itertools.count())


@pytest.fixture(scope="session")
def postgis():
    """Words of libpq for a database of a server that was started for the tests."""
    import postgis as servers

    with servers.server() as words:
        yield words


@pytest.fixture(params=["geopackage", "postgis"])
def record(request, tmp_path):
    """Name of a record that is not there yet, in each kind of store."""
    if request.param == "geopackage":
        return str(tmp_path / "building.gpkg")
    return f"{request.getfixturevalue('postgis')} schema={next(_schemas)}"


@pytest.fixture
def store(record):
    """The store of that record."""
    return open_store(record)
