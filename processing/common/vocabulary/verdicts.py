"""The verdicts on a penetration: one table of what they are called and how they are drawn; `penetrations/check.py` decides."""

from dataclasses import dataclass
from typing import Mapping, Optional

from ..language import tr

CLEAR, TOO_CLOSE, HITS, UNKNOWN = "clear", "too_close", "hits", "unknown"


@dataclass(frozen=True)
class VerdictWord:
    """One of the verdicts on a penetration.

    Attributes
    ----------
    word, title : str
        In short, beside a hole, and in a legend.
    in_report, on_sheet : str
        In a table or drawing, and as the head of a drill sheet.
    code : str
        In the layer names of drawings.
    colour, opacity, outline : str, float, str
        Of a hole on the map: RGB in hexadecimal, 0 to 1, style of the line round it.
    body_colour : str
        In space, where that must differ from `colour`.
    """

    key: str
    word: str
    title: str
    in_report: str
    on_sheet: str
    code: str
    colour: str
    opacity: float
    outline: str
    body_colour: str = ""


# Colours as those of the kinds; outline and letters differ as well, for a grey print.
VERDICTS: Mapping[str, VerdictWord] = {
    verdict.key: verdict
    for verdict in (
        VerdictWord(
            CLEAR,
            tr("clear"),
            tr("Clear of what is known"),
            tr("clear of what is known"),
            tr("Clear of what is known"),
            *("CLEAR", "#009e73", 0.75, "solid"),
        ),
        VerdictWord(
            TOO_CLOSE,
            tr("too close"),
            tr("Too close"),
            tr("TOO CLOSE"),
            tr("TOO CLOSE - do not drill as planned"),
            *("TOOCLOSE", "#e69f00", 0.85, "dash"),
        ),
        VerdictWord(
            HITS,
            tr("hits"),
            tr("Hits an item"),
            tr("HITS AN ITEM"),
            tr("HITS AN ITEM - do not drill as planned"),
            *("HITS", "#d55e00", 0.95, "solid"),
        ),
        VerdictWord(
            UNKNOWN,
            tr("UNKNOWN"),
            tr("UNKNOWN"),
            tr("UNKNOWN"),
            tr("UNKNOWN - never treat as clear"),
            *("UNKNOWN", "#ffffff", 0.6, "dot"),
            body_colour="#56b4e9",  # a white body would pass for clear
        ),
    )
}


def verdict_words(verdict: Optional[str]) -> str:
    """A verdict in a report; a hole without one was not checked."""
    return VERDICTS[verdict].in_report if verdict in VERDICTS else tr("not checked")
