"""The kinds of items: one table of what they are called, how they are drawn, and what is assumed of their size.

Files hold the keys, people read the words; code compares keys. Whatever is made, drawn, sized or said by kind comes from here:
a new kind is one more row of the table, and the code that detects it (`items/kinds.py`).
"""

from dataclasses import dataclass
from typing import Callable, Mapping, Optional, Tuple

from ..language import tr, trn

BAR, TENDON, METAL_CONDUIT, PLASTIC_CONDUIT = "bar", "tendon", "metal_conduit", "plastic_conduit"
UNKNOWN_KIND = "unknown"


@dataclass(frozen=True)
class Stroke:
    """How a line is drawn: width, and the lengths of dashes and gaps (None: a full line), millimetres."""

    width_mm: float
    dashes_mm: Optional[Tuple[float, ...]] = None


@dataclass(frozen=True)
class Kind:
    """One kind of item.

    Attributes
    ----------
    key : str
        As in files; part of the names of fields (`p_bar`) and of outputs (`BAR_COUNT`).
    word, title : str
        One of them within a sentence, and on its own: in a legend, in a list.
    counted : callable
        Gives a number of them in words.
    code : str
        Of the element in the layer names of drawings, and of points to be set out: at most six letters or digits.
    colour : str
        RGB in hexadecimal, on maps, in panels and in drawings.
    colour_index : int
        The nearest of the 255 numbered colours of DXF.
    on_map, in_drawing : Stroke
        Dashes of a drawing are lengths on site; all others are lengths on paper.
    drawn_diameter_m : float
        How thick it is drawn in space: a usual size (common practice, no source), not a measured one.
    keep_out_m, smallest_diameter_m, largest_diameter_m : float
        Starting values of `penetrations.model.KindRule`.
    body_colour : str
        In space, where that must differ from `colour`.
    """

    key: str
    word: str
    title: str
    counted: Callable[[int], str]
    code: str
    colour: str
    colour_index: int
    on_map: Stroke
    in_drawing: Stroke
    drawn_diameter_m: float
    keep_out_m: float
    smallest_diameter_m: float
    largest_diameter_m: float
    body_colour: str = ""


# Colours are from the palette of Okabe and Ito, made to be told apart with every kind of colour vision (M. Okabe, K. Ito, "Color
# Universal Design", 2008, https://jfly.uni-koeln.de/color/); which kind gets which is our own choice and follows no coding of other
# trades. Widths and dashes differ as well, so that the kinds are told apart on a grey print. Keep-out distances and sizes are
# conservative starting values (common practice, no source): the responsible engineer sets them for each job.
KINDS: Mapping[str, Kind] = {
    kind.key: kind
    for kind in (
        Kind(
            key=BAR,
            word=tr("bar"),
            title=tr("Bar"),
            counted=lambda count: trn("{count} bar", "{count} bars", count),
            code="BAR",
            colour="#000000",
            colour_index=7,
            on_map=Stroke(0.5),
            in_drawing=Stroke(0.35),
            drawn_diameter_m=0.012,
            keep_out_m=0.025,
            smallest_diameter_m=0.006,
            largest_diameter_m=0.025,
            body_colour="#4d4d4d",  # black takes no light and shows no form
        ),
        Kind(
            key=TENDON,
            word=tr("tendon"),
            title=tr("Tendon"),
            counted=lambda count: trn("{count} tendon", "{count} tendons", count),
            code="TENDON",
            colour="#d55e00",
            colour_index=30,
            on_map=Stroke(1.4),
            in_drawing=Stroke(1.0),
            drawn_diameter_m=0.045,
            keep_out_m=0.075,
            smallest_diameter_m=0.015,
            largest_diameter_m=0.060,
        ),
        Kind(
            key=METAL_CONDUIT,
            word=tr("metal conduit"),
            title=tr("Conduit, metal"),
            counted=lambda count: trn("{count} metal conduit", "{count} metal conduits", count),
            code="CONDME",
            colour="#0072b2",
            colour_index=5,
            on_map=Stroke(0.9, (2.6, 1.0)),
            in_drawing=Stroke(0.6, (50, 20)),
            drawn_diameter_m=0.025,
            keep_out_m=0.040,
            smallest_diameter_m=0.015,
            largest_diameter_m=0.040,
        ),
        Kind(
            key=PLASTIC_CONDUIT,
            word=tr("plastic conduit"),
            title=tr("Conduit, plastic"),
            counted=lambda count: trn("{count} plastic conduit", "{count} plastic conduits", count),
            code="CONDPL",
            colour="#cc79a7",
            colour_index=6,
            on_map=Stroke(0.9, (1.2, 1.2)),
            in_drawing=Stroke(0.6, (24, 24)),
            drawn_diameter_m=0.025,
            keep_out_m=0.040,
            smallest_diameter_m=0.015,
            largest_diameter_m=0.040,
        ),
        Kind(
            key=UNKNOWN_KIND,
            word=tr("item of unknown kind"),
            title=tr("Kind unknown"),
            counted=lambda count: trn("{count} item of unknown kind", "{count} items of unknown kind", count),
            code="OBJECT",
            colour="#e69f00",
            colour_index=40,
            on_map=Stroke(0.7, (2.6, 0.8, 0.6, 0.8)),
            in_drawing=Stroke(0.5, (50, 16, 12, 16)),
            drawn_diameter_m=0.018,
            keep_out_m=0.050,
            smallest_diameter_m=0.006,
            largest_diameter_m=0.050,
        ),
    )
}


def kind_of(key: Optional[str]) -> Kind:
    """The row of a kind; what is none of them, such as a word that a person typed, is of unknown kind."""
    return KINDS.get(key or "", KINDS[UNKNOWN_KIND])


def kind_name(key: str) -> str:
    """One item of a kind within a sentence; a kind that a person typed stands as it is."""
    return KINDS[key].word if key in KINDS else key
