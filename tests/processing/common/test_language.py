"""Texts in another language, without Qt."""

import pytest
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

from inslab.processing.common import language

HEADER = 'msgid ""\nmsgstr "Content-Type: text/plain; charset=UTF-8\\n"\n\n'
# Polish has three forms; the rule is the one that Babel takes from Unicode's CLDR.
PLURAL = """
msgid "{count} file"
msgid_plural "{count} files"
msgstr[0] "{count} plik"
msgstr[1] "{count} pliki"
msgstr[2] "{count} plików"

"""


@pytest.fixture
def catalogue(tmp_path, monkeypatch):
    """A language `xx` of one text, written with the independent tools of Babel."""
    (tmp_path / "xx.po").write_text(HEADER + PLURAL + 'msgid "{n} bars"\nmsgstr "{n} Stäbe"\n', encoding="utf-8")
    with (tmp_path / "xx.po").open("rb") as source, (tmp_path / "xx.mo").open("wb") as target:
        write_mo(target, read_po(source, locale="pl"))
    monkeypatch.setattr(language, "CATALOGUES", tmp_path)
    yield
    language.use("en")


def test_english_as_it_stands():
    assert language.use("en") is False
    assert language.tr("{n} bars", n=3) == "3 bars"
    assert language.tr("50 % of {braces}") == "50 % of {braces}"
    assert language.tr("") == ""


@pytest.mark.parametrize("code", ["xx", "xx_AT"])
def test_another_language_and_its_regional_forms(catalogue, code):
    assert language.use(code) is True
    assert language.tr("{n} bars", n=3) == "3 Stäbe"
    assert language.tr("not in the catalogue") == "not in the catalogue"


def test_each_number_takes_its_form(catalogue):
    def counted(count):
        return language.trn("{count} file", "{count} files", count)

    language.use("en")
    assert [counted(n) for n in (0, 1, 2, 21)] == ["0 files", "1 file", "2 files", "21 files"]
    language.use("xx")
    assert [counted(n) for n in (0, 1, 2, 5, 21, 22)] == [
        *("0 plików", "1 plik", "2 pliki", "5 plików", "21 plików", "22 pliki"),
    ]
    assert language.trn("{count} bar in {area}", "{count} bars in {area}", 2, area="A1") == "2 bars in A1"


def test_an_unknown_language_is_english(catalogue):
    language.use("xx")
    assert language.use("yy") is False
    assert language.tr("{n} bars", n=1) == "1 bars"
