"""Text on the map."""

from qgis.core import QgsTextBufferSettings, QgsTextFormat
from qgis.PyQt.QtGui import QColor, QFont


def text_format(size_pt: float, colour: str = "#000000", bold: bool = False) -> QgsTextFormat:
    """Text with a white rim, legible on a drawing and on a depth slice."""
    font = QFont("DejaVu Sans")  # on every system that QGIS installs on Debian; others fall back to their own
    font.setBold(bold)
    rim = QgsTextBufferSettings()
    rim.setEnabled(True)
    rim.setSize(0.7)
    rim.setColor(QColor("#ffffff"))
    text = QgsTextFormat()
    text.setFont(font)
    text.setSize(size_pt)
    text.setColor(QColor(colour))
    text.setBuffer(rim)
    return text
