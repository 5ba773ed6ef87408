"""The plugin as QGIS meets it: metadata.txt, loading, unloading."""

import configparser
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture
def metadata():
    parser = configparser.ConfigParser()  # with interpolation, as QGIS reads it: a percent sign would raise
    parser.read(ROOT / "metadata.txt", encoding="utf-8")
    return dict(parser["general"])


def test_metadata_is_what_the_plugin_repository_asks_for(metadata):
    # The list is that of the plugin repository of QGIS (its page on publishing, "Metadata"), as known in 2026.
    required = [
        "name",
        "description",
        "version",
        "qgisminimumversion",
        "author",
        "email",
        "about",
        "tracker",
        "repository",
    ]
    assert all(metadata[key] for key in required)
    assert re.fullmatch(r"\d+\.\d+\.\d+", metadata["version"])
    assert metadata["qgisminimumversion"] == "3.22"
    assert metadata["hasprocessingprovider"] == "yes"
    assert "plugin" not in metadata["name"].lower()
    assert "/" not in metadata["author"]
    assert "<" not in "".join(metadata.values())
    assert (ROOT / metadata["icon"]).is_file()
    assert (ROOT / "LICENSE").is_file()


def test_the_version_has_an_entry_in_the_changelog(metadata):
    assert f"\n## {metadata['version']}" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    assert metadata["changelog"].startswith(metadata["version"])


def test_qgis_loads_and_unloads_it(qgis_app, tmp_path, monkeypatch):
    from qgis import utils
    from qgis.core import QgsApplication

    (tmp_path / "inslab").symlink_to(ROOT)
    monkeypatch.setattr(utils, "plugin_paths", [str(tmp_path)])
    monkeypatch.setattr(utils, "iface", None)
    utils.updateAvailablePlugins()
    try:
        assert utils.pluginMetadata("inslab", "name") == "Inslab"
        assert utils.loadPlugin("inslab")
        assert utils.startProcessingPlugin("inslab")
        assert QgsApplication.processingRegistry().algorithmById("inslab:processsurvey") is not None
        utils.plugins["inslab"].unload()
        assert QgsApplication.processingRegistry().providerById("inslab") is None
    finally:
        utils.plugins.pop("inslab", None)


def test_a_fault_of_ours_is_one_sentence(inslab_provider, monkeypatch):
    from qgis.core import QgsProcessingContext, QgsProcessingException, QgsProcessingFeedback

    algorithm = inslab_provider.algorithm("readsurvey").create()

    def fail(*_):
        raise KeyError("a name nobody expected")

    monkeypatch.setattr(algorithm, "compute", fail, raising=False)
    with pytest.raises(QgsProcessingException, match=r"Internal error .KeyError.*earlier results are unchanged"):
        algorithm.processAlgorithm({}, QgsProcessingContext(), QgsProcessingFeedback())
