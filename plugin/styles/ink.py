"""The colour for text and lines that a panel paints itself, legible on light and dark themes."""

from qgis.PyQt.QtGui import QColor, QPalette

READABLE = 4.5  # least contrast of text, WCAG 2.1, success criterion 1.4.3


def luminance(colour: QColor) -> float:
    """Relative luminance, 0 to 1, as WCAG 2.1 defines it."""
    parts = []
    for value in (colour.redF(), colour.greenF(), colour.blueF()):
        parts.append(value / 12.92 if value <= 0.03928 else ((value + 0.055) / 1.055) ** 2.4)
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(one: QColor, other: QColor) -> float:
    """Contrast ratio of two colours, 1 to 21, as WCAG 2.1 defines it."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def ink(palette: QPalette, below: QPalette.ColorRole = QPalette.ColorRole.Window) -> QColor:
    """The palette's colour of text if it can be read on its windows; dark themes made of style sheets may leave one that cannot.

    `below` is what the text is painted on, where it is no window.
    """
    ground = palette.color(below)
    for role in (QPalette.ColorRole.WindowText, QPalette.ColorRole.Text, QPalette.ColorRole.ButtonText):
        if contrast(palette.color(role), ground) >= READABLE:
            return palette.color(role)
    return max((QColor("#000000"), QColor("#ffffff")), key=lambda colour: contrast(colour, ground))
