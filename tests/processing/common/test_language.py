"""Texts in another language, without Qt."""

import pytest
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

from inslab.processing.common import language

HEADER = 'msgid ""\nmsgstr "Content-Type: text/plain; charset=UTF-8\\n"\n'


@pytest.fixture
def catalogue(tmp_path, monkeypatch):
    """A language `xx` of one text, written with the independent tools of Babel."""
    (tmp_path / "xx.po").write_text(HEADER + 'msgid "{n} bars"\nmsgstr "{n} Stäbe"\n', encoding="utf-8")
    with (tmp_path / "xx.po").open("rb") as source, (tmp_path / "xx.mo").open("wb") as target:
        write_mo(target, read_po(source))
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


def test_an_unknown_language_is_english(catalogue):
    language.use("xx")
    assert language.use("yy") is False
    assert language.tr("{n} bars", n=1) == "1 bars"
