"""Make the repository root importable as ``inslab`` without putting it on sys.path, and the shared fixtures."""

import importlib.util
import sys
from pathlib import Path

import pytest

PACKAGE = "inslab"
ROOT = Path(__file__).resolve().parent.parent

# ``python -m pytest`` and PYTHONPATH put the root on sys.path, where our
# ``processing`` folder would hide QGIS's top-level ``processing`` module.
sys.path[:] = [entry for entry in sys.path if Path(entry or ".").resolve() != ROOT]

if PACKAGE not in sys.modules:
    spec = importlib.util.spec_from_file_location(PACKAGE, ROOT / "__init__.py", submodule_search_locations=[str(ROOT)])
    module = importlib.util.module_from_spec(spec)
    sys.modules[PACKAGE] = module
    spec.loader.exec_module(module)


@pytest.fixture(scope="session")
def small_survey(tmp_path_factory):
    """Folder of a survey of two small areas; not to be changed (copy it first)."""
    import surveys

    return surveys.small_survey(tmp_path_factory.mktemp("small") / "survey")


@pytest.fixture(scope="session")
def postgis():
    """Words of libpq for a database of a server that was started for the tests."""
    import postgis as servers

    with servers.server() as words:
        yield words


@pytest.fixture(scope="module")  # not "session": the test that loads the plugin adds a provider of its own
def inslab_provider(qgis_app):
    """The Processing provider, registered."""
    from qgis.core import QgsApplication

    from inslab.plugin.provider import InslabProvider

    registry = QgsApplication.processingRegistry()
    provider = InslabProvider()
    assert registry.addProvider(provider)
    yield provider
    registry.removeProvider(provider)
