"""A record in each of the two stores."""

import itertools

import pytest

from inslab.processing.record.open_store import open_store

pytest.importorskip("osgeo")

_schemas = (f"record_{number}" for number in itertools.count())


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
