"""Texts that may come from a file, shown as they are.

Qt takes for HTML what looks like it, and a picture in it may be named on another computer, which would then be asked for it.
"""

from html import escape

from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtWidgets import QLabel


def plain_label() -> QLabel:
    """An empty label for sentences."""
    label = QLabel()
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setWordWrap(True)
    return label


def as_html(text: str) -> str:
    """The same text for a tooltip or the bar of messages, which know no plain text."""
    return f"<p>{escape(text)}</p>".replace("\n", "<br>") if text else ""
