"""The language of everything a person reads, in the plugin and in what computes alike.

Texts are English in the code. `use` loads a catalogue in the GNU gettext format (`languages/<code>.mo`), which Python's own
library reads, so that `processing` needs no Qt. Texts in module constants are translated when their module is imported:
the plugin calls `use` before it imports anything else, and a new language holds from the next start of QGIS.
"""

import gettext
from pathlib import Path

CATALOGUES = Path(__file__).parents[2] / "languages"

_active = gettext.NullTranslations()
_code = ""


def current() -> str:
    """The code of the catalogue in use; empty for English."""
    return _code


def use(code: str) -> bool:
    """Take the language `code` ("de", "de_AT"); English where there is no catalogue for it. Returns whether there is one."""
    global _active, _code
    for name in (code, code.split("_")[0]):
        catalogue = CATALOGUES / f"{name}.mo"
        if catalogue.is_file():
            with catalogue.open("rb") as file:
                _active = gettext.GNUTranslations(file)
            _code = name
            return True
    _active, _code = gettext.NullTranslations(), ""
    return False


def tr(text: str, /, **values) -> str:
    """`text` in the language of the person at the screen, with `values` filled in as `str.format` does.

    `text` must be a literal, because a program collects the texts to be translated: tr("{file} is empty.", file=name).
    """
    translated = _active.gettext(text) if text else text
    return translated.format(**values) if values else translated


def trn(one: str, many: str, count: int, /, **values) -> str:
    """`one` or `many`, whichever goes with `count` in the language of the person at the screen; `{count}` is filled in as well.

    Languages have other rules than English, and up to six forms. Both texts must be literals, as those of `tr`:
    trn("{count} item", "{count} items", len(items)).
    """
    return _active.ngettext(one, many, count).format(count=count, **values)
