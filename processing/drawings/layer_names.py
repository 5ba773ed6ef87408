"""Names of the layers in a drawing, built as ISO 13567 builds them, and how each kind is drawn.

The fields of a name and their widths are those of ISO 13567-2, the letters of presentation and status are given from memory of
it; the codes of elements are our own, because the standard leaves them to the parties; those of
items stand in the table of kinds. `docs/drawings.md` lists all of them.
"""

from typing import Dict, NamedTuple, Optional, Tuple

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.vocabulary.kinds import Kind

AGENT = "S-"  # surveyor
GRAPHICS, TEXT, HATCHING = "E-", "T-", "H-"  # presentation: element graphics, text, hatching
EXISTING, NEW = "E", "N"  # status: stays as it is; new work
AREA, SEEN_BOTH_WAYS, SEEN_ONE_WAY, UNSEEN, HOLE, NOTE = "AREA", "SCAN2", "SCAN1", "UNSEEN", "HOLE", "NOTE"


class Pen(NamedTuple):
    """Colour (RGB in hexadecimal, and index in the 255 colours of the format), width in millimetres on paper, dashes in
    millimetres on site.
    """

    colour: str
    index: int
    width_mm: float
    dashes_mm: Optional[Tuple[float, ...]] = None


def kind_pen(kind: Kind) -> Pen:
    """How a kind is drawn; dashes and widths tell the kinds apart in grey."""
    return Pen(kind.colour, kind.colour_index, kind.in_drawing.width_mm, kind.in_drawing.dashes_mm)


OTHER_PENS: Dict[str, Pen] = {
    AREA: Pen("#5b6472", 8, 0.25),
    SEEN_BOTH_WAYS: Pen("#009e73", 3, 0.25),
    SEEN_ONE_WAY: Pen("#e69f00", 40, 0.25, (50, 20)),
    UNSEEN: Pen("#808080", 8, 0.13),
    HOLE: Pen("#d55e00", 1, 0.5),
    NOTE: Pen("#000000", 7, 0.25),
}


def layer_name(element: str, presentation: str, further: str = "", status: str = EXISTING) -> str:
    """One name: agent 2, element 6, presentation 2, status 1, then sector 4, phase 1, projection 1, scale 1 and work package 2,
    which are not used (hyphens), and after these 20 characters a field of our own: depth band, scanned depth or verdict.
    """
    return f"{AGENT}{element:-<6}{presentation}{status}{'-' * 9}{further}"


def depth_band(depth_m: Optional[float], band_m: float) -> str:
    """The band in which a depth lies, millimetres: ``0050-0100``; ``NODEPTH`` where it is not known."""
    if depth_m is None:
        return "NODEPTH"
    number = int(max(depth_m, 0.0) / band_m + 1e-9)
    top, base = (round(1000 * band_m * n) for n in (number, number + 1))
    return f"{top:04d}-{base:04d}"


def check_band(band_m: float) -> None:
    """Raises `ProcessingError` for a band that its name could not tell from the next."""
    if abs(1000 * band_m - round(1000 * band_m)) > 1e-6 or band_m < 0.001:
        raise ProcessingError(tr("Depth bands must be whole millimetres; choose for example 0.05 m."))
