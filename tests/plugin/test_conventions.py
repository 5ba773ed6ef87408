"""Rules that hold for every algorithm, so that models, scripts and people can rely on them."""

import re
from pathlib import Path

import pytest

NAMES = [
    "readsurvey",
    "fitareas",
    "sitegrid",
    "fitdrawing",
    "wavespeed",
    "depthslices",
    "radargrams",
    "detectitems",
    "joinitems",
    "processsurvey",
    "checkpenetrations",
    "clearspace",
    "placepenetrations",
    "routechase",
    "drillsheet",
    "updaterecord",
    "verifyitem",
    "withdrawverification",
    "queryrecord",
    "exportdrawing",
    "surveyreport",
]


def test_the_provider_holds_these_algorithms(inslab_provider):
    assert inslab_provider.id() == "inslab"
    assert sorted(algorithm.name() for algorithm in inslab_provider.algorithms()) == sorted(NAMES)


@pytest.fixture(params=NAMES)
def algorithm(request, inslab_provider):
    return inslab_provider.algorithm(request.param)


def test_names_are_plain(algorithm):
    assert re.fullmatch(r"[a-z][a-z0-9]*", algorithm.name())
    assert re.fullmatch(r"[a-z]+", algorithm.groupId())
    assert algorithm.displayName()[0].isupper()
    assert algorithm.group()
    assert algorithm.id() == f"inslab:{algorithm.name()}"
    for item in (*algorithm.parameterDefinitions(), *algorithm.outputDefinitions()):
        assert re.fullmatch(r"[A-Z][A-Z0-9_]*", item.name())
        assert item.description()


def test_help_covers_every_parameter_and_output(algorithm):
    page = algorithm.shortHelpString()
    items = {item.name() for item in (*algorithm.parameterDefinitions(), *algorithm.outputDefinitions())}
    assert set(algorithm.HELP) == items
    for parameter in algorithm.parameterDefinitions():
        assert parameter.help() == algorithm.HELP[parameter.name()]
        assert parameter.help() in page
    assert "does not guarantee detection" in page
    assert algorithm.shortDescription().endswith(".")
    assert len(algorithm.tags()) >= 5


def test_help_in_a_terminal_is_plain_text(algorithm, monkeypatch):
    from qgis.core import QgsApplication

    monkeypatch.setattr(QgsApplication, "platform", staticmethod(lambda: "qgis_process"))
    text = algorithm.shortHelpString()
    assert "<" not in text
    for name in algorithm.HELP:
        assert f"\n{name}: " in text


def test_icon_is_a_drawing_of_its_own(algorithm):
    assert Path(algorithm.svgIconPath()).is_file()
    assert not algorithm.icon().isNull()


def test_copies_are_of_the_same_kind(algorithm):
    copy = algorithm.createInstance()
    assert type(copy) is type(algorithm)
    assert copy is not algorithm


def test_all_parameters_but_the_inputs_have_defaults(algorithm):
    inputs = {
        "SURVEY_FOLDER",
        "SURVEY",
        "PENETRATIONS",
        "START",
        "END",
        "DRAWING",
        "PAIRS",
        "RECORD",
        "ITEM",
        "VERIFIED_ON",
        "VERIFICATION",
        "WITHDRAWN_ON",
        "WHY",
    }
    for parameter in algorithm.parameterDefinitions():
        optional = bool(parameter.flags() & parameter.Flag.FlagOptional)
        assert (
            parameter.name() in inputs or parameter.isDestination() or optional or parameter.defaultValue() is not None
        )


def test_a_missing_package_is_said_in_a_sentence(algorithm, monkeypatch):
    import importlib.util

    find_spec = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, package=None: None if name == "scipy" else find_spec(name, package)
    )
    possible, sentence = algorithm.canExecute()
    assert possible == ("scipy" not in algorithm.PACKAGES)
    assert ("scipy" in sentence) == (not possible)
