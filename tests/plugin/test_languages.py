"""The catalogues hold exactly what the code says, and the plugin speaks the language of QGIS."""

import io
import json
import subprocess
import sys
from importlib.machinery import SourceFileLoader
from importlib.util import module_from_spec, spec_from_loader
from pathlib import Path

import pytest

from inslab.processing.store.geopackage import read_layer

ROOT = Path(__file__).resolve().parents[2]
CATALOGUES = sorted((ROOT / "languages").glob("*.po"))

# A process of its own: texts are translated when their module is imported.
IN_GERMAN = """
import json, os, sys
sys.path.insert(0, sys.argv[1])
from qgis.core import QgsApplication, QgsProcessingContext, QgsProcessingFeedback
from qgis.PyQt.QtCore import QLocale
QLocale.setDefault(QLocale("de_AT"))
application = QgsApplication([], False)
application.initQgis()
import inslab
plugin = inslab.classFactory(None)
plugin.initProcessing()
registry = QgsApplication.processingRegistry()
told = {one.name(): [one.displayName(), one.shortHelpString()] for one in registry.providerById("inslab").algorithms()}
wrong = registry.createAlgorithmById("inslab:depthslices")
usable, sentence = wrong.checkParameterValues({"SURVEY": "nowhere.gpkg", "OUTPUT_FOLDER": "x"}, QgsProcessingContext())
reading = registry.createAlgorithmById("inslab:readsurvey")
read, _ = reading.run(json.loads(sys.argv[2]), QgsProcessingContext(), QgsProcessingFeedback())
print(json.dumps({"told": told, "sentence": sentence, "read": read}))
sys.stdout.flush()
os._exit(0)  # QGIS takes its time to leave, and some versions crash over it
"""


@pytest.fixture(scope="module")
def update():
    """languages/update as a module."""
    loader = SourceFileLoader("languages_update", str(ROOT / "languages" / "update"))
    module = module_from_spec(spec_from_loader(loader.name, loader))
    loader.exec_module(module)
    return module


def test_there_is_a_catalogue():
    assert "de" in [path.stem for path in CATALOGUES]


@pytest.mark.parametrize("path", CATALOGUES, ids=lambda path: path.stem)
def test_a_catalogue_is_complete(update, path):
    catalog = update.read(path)
    known = {message.id for message in catalog if message.id}
    texts = set(update.texts())
    assert not texts - known, "run languages/update, and translate what it names"
    assert not known - texts, "the code does not say this any more: run languages/update"
    assert update.problems(catalog) == []  # not translated, marked as fuzzy, other placeholders


@pytest.mark.parametrize("path", CATALOGUES, ids=lambda path: path.stem)
def test_the_compiled_catalogue_is_that_of_the_text(path):
    """Asked of Python's own reader, as the plugin does it."""
    import gettext

    from babel.messages.pofile import read_po

    compiled = gettext.GNUTranslations(io.BytesIO(path.with_suffix(".mo").read_bytes()))
    with path.open("rb") as file:
        texts = {message.id: message.string for message in read_po(file) if message.id}
    different = [text for text, translation in texts.items() if told_by(compiled, text) != translation]
    assert not different, "run languages/update"


def told_by(compiled, text):
    """A text as a compiled catalogue translates it: where it has plural forms for one and for two, the forms of German."""
    return compiled.gettext(text) if isinstance(text, str) else tuple(compiled.ngettext(*text, n) for n in (1, 2))


@pytest.mark.parametrize("path", CATALOGUES, ids=lambda path: path.stem)
def test_heads_and_joints_keep_their_form(update, path):
    """A head with # is of a column of numbers; a space at an end keeps two sentences apart."""
    for message in update.read(path):
        if message.id:
            for pair in update.forms(message.id, message.string):
                ends = [(text[:1] == "#", text[:1].isspace(), text[-1:].isspace()) for text in pair]
                assert ends[0] == ends[1], message.id


@pytest.mark.parametrize(
    ("text", "translation", "problem"),
    [
        ("{a:.1f} m", "", "not translated"),
        ("{a:.1f} m", "{a:.2f} m", "other placeholders"),
        ("{a} {a}", "{a}", "other placeholders"),
        ("{a} {b}", "{b} {a}", None),
        ("{{a}}", "a", None),
        (("{count} bar", "{count} bars"), ("{count} Stab", "{count} Stäbe"), None),
        (("{count} bar", "{count} bars"), ("{count} Stab", ""), "not translated"),
        (("{count} bar", "{count} bars"), ("{count} Stab", "Stäbe"), "other placeholders"),
    ],
)
def test_a_faulty_translation_is_found(update, text, translation, problem):
    from babel.messages.catalog import Catalog

    catalog = Catalog(locale="de")
    catalog.add(text, translation)
    assert [sentence.partition(":")[0] for sentence in update.problems(catalog)] == ([problem] if problem else [])


def test_a_text_gets_plural_forms(update, tmp_path, monkeypatch):
    """Collected from the code, merged beside what is translated already, compiled, and read by Python's own reader."""
    import gettext

    code, po = tmp_path / "plugin" / "code.py", tmp_path / "de.po"
    code.parent.mkdir()
    code.write_text('tr("Bar")\ntrn("{count} bar", "{count} bars", len(found))\n', encoding="utf-8")
    monkeypatch.setattr(update, "ROOT", tmp_path)
    po.write_text(
        'msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\n"\n\nmsgid "Bar"\nmsgstr "Stab"\n\n'
        'msgid "{count} bar"\nmsgstr "{count} Stab"\n',
        encoding="utf-8",
    )
    catalog = update.merged(po)
    assert catalog.get("Bar").string == "Stab"
    assert update.problems(catalog) == ["not translated: ('{count} bar', '{count} bars')"]
    po.write_bytes(update.as_po(catalog).replace(b'msgstr[0] ""', b'msgstr[0] "ein Stab"'))
    assert "not translated" in update.problems(update.merged(po))[0]
    text = po.read_text(encoding="utf-8").replace('"ein Stab"', '"{count} Stab"')
    po.write_text(text.replace('msgstr[1] ""', 'msgstr[1] "{count} Stäbe"'), encoding="utf-8")
    assert update.problems(update.merged(po)) == []
    compiled = gettext.GNUTranslations(io.BytesIO(update.as_mo(update.merged(po))))
    assert [compiled.ngettext("{count} bar", "{count} bars", n) for n in (0, 1, 2)] == [
        *("{count} Stäbe", "{count} Stab", "{count} Stäbe"),
    ]


@pytest.mark.parametrize(
    ("code", "refusal"),
    [
        ("tr(name)", "plugin/code.py:1: the first argument of tr"),
        ('trn("one", many, 3)', "plugin/code.py:1: trn takes two literal texts"),
        ('tr("bar")\ntrn("bar", "bars", 3)', "with plural forms in one place and without in another: 'bar'"),
    ],
)
def test_what_cannot_be_collected_is_refused(update, tmp_path, monkeypatch, code, refusal):
    (tmp_path / "plugin").mkdir()
    (tmp_path / "plugin" / "code.py").write_text(code, encoding="utf-8")
    monkeypatch.setattr(update, "ROOT", tmp_path)
    with pytest.raises(SystemExit, match=refusal):
        update.texts()


@pytest.fixture
def german(small_survey, tmp_path):
    """What the plugin says and writes in a QGIS that speaks Austrian German."""
    folder = tmp_path / "plugins"
    folder.mkdir()
    (folder / "inslab").symlink_to(ROOT)
    wanted = {
        "SURVEY_FOLDER": str(small_survey),
        "SURVEY": str(tmp_path / "german.gpkg"),
        "REPORT": str(tmp_path / "german.html"),
    }
    run = subprocess.run(
        [sys.executable, "-c", IN_GERMAN, str(folder), json.dumps(wanted)],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    return json.loads(run.stdout.splitlines()[-1])


def test_the_plugin_speaks_german(german, survey, inslab_provider):
    told = german["told"]
    assert told["checkpenetrations"][0] == "Durchdringungen prüfen"
    for one in inslab_provider.algorithms():
        name, shown = told[one.name()]
        assert name != one.displayName()
        assert one.DESCRIPTION not in shown
        assert "bietet keine Gewähr" in shown  # the caution
        assert "does not guarantee" not in shown
    assert german["sentence"].startswith("Es gibt keine Datei nowhere.gpkg: Wählen Sie")
    report = Path(german["read"]["REPORT"]).read_text(encoding="utf-8")
    assert '<html lang="de">' in report
    assert "unbekannt, nie frei" in report

    # Files hold the same words in every language, but for sentences.
    found = german["read"]["SURVEY"]
    for layer in ("scan_areas", "scan_lines", "control_points"):
        rows = [[row for _shape, row in read_layer(path, layer)] for path in (survey, found)]
        assert rows[0] == rows[1]
