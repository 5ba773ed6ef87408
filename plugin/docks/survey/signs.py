"""The signs of the survey panel: how a step stands, told by shape, word and colour, each enough by itself."""

from qgis.PyQt.QtCore import QPointF, QRectF, Qt
from qgis.PyQt.QtGui import QColor, QIcon, QPainter, QPalette, QPen, QPixmap, QPolygonF

from ....processing.common.language import tr
from ....processing.steps.shared.survey_state import DONE, NOT_DONE, OUTDATED, WARNINGS

RUNNING = "running"
WORDS = {
    NOT_DONE: tr("not done"),
    DONE: tr("done"),
    WARNINGS: tr("to check: {count}"),
    OUTDATED: tr("outdated"),
    RUNNING: tr("running"),
}
# From the palette of Okabe and Ito (see styles/items.py).
COLOURS = {DONE: "#009e73", WARNINGS: "#e69f00", OUTDATED: "#0072b2", RUNNING: "#56b4e9"}
_TICK = ((0.27, 0.52), (0.44, 0.69), (0.75, 0.34))


def sign(state: str, side: int, palette: QPalette, ratio: float = 1.0) -> QIcon:
    """A ring (not done), a disc with a tick (done), a triangle (warnings), a broken ring with an arrow (outdated), a half disc
    (running), `side` wide on a screen with `ratio` pixels to one.
    """
    pixmap = QPixmap(max(1, round(side * ratio)), max(1, round(side * ratio)))
    pixmap.setDevicePixelRatio(ratio)
    pixmap.fill(Qt.GlobalColor.transparent)
    painter = QPainter(pixmap)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.scale(side, side)
    _DRAWINGS[state](painter, palette)
    painter.end()
    return QIcon(pixmap)


def _pen(colour, width: float = 0.11) -> QPen:
    return QPen(QColor(colour), width, Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap, Qt.PenJoinStyle.RoundJoin)


def _points(*pairs) -> QPolygonF:
    return QPolygonF([QPointF(x, y) for x, y in pairs])


_DISC = QRectF(0.12, 0.12, 0.76, 0.76)


def _draw_not_done(painter: QPainter, palette: QPalette) -> None:
    painter.setPen(_pen(palette.color(QPalette.ColorRole.Mid), 0.08))
    painter.drawEllipse(_DISC)


def _draw_done(painter: QPainter, palette: QPalette) -> None:
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(COLOURS[DONE]))
    painter.drawEllipse(_DISC)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setPen(_pen("#ffffff"))
    painter.drawPolyline(_points(*_TICK))


def _draw_warnings(painter: QPainter, palette: QPalette) -> None:
    painter.setPen(_pen(COLOURS[WARNINGS], 0.1))
    painter.setBrush(QColor(COLOURS[WARNINGS]))
    painter.drawPolygon(_points((0.5, 0.14), (0.9, 0.84), (0.1, 0.84)))
    painter.setPen(_pen("#000000", 0.1))
    painter.drawLine(QPointF(0.5, 0.38), QPointF(0.5, 0.58))
    painter.drawPoint(QPointF(0.5, 0.73))


def _draw_outdated(painter: QPainter, palette: QPalette) -> None:
    painter.setPen(_pen(COLOURS[OUTDATED]))
    painter.drawArc(QRectF(0.18, 0.18, 0.64, 0.64), 40 * 16, 280 * 16)
    painter.setBrush(QColor(COLOURS[OUTDATED]))
    painter.drawPolygon(_points((0.66, 0.26), (0.88, 0.20), (0.84, 0.44)))


def _draw_running(painter: QPainter, palette: QPalette) -> None:
    painter.setPen(_pen(COLOURS[RUNNING], 0.08))
    painter.drawEllipse(_DISC)
    painter.setBrush(QColor(COLOURS[RUNNING]))
    painter.drawPie(_DISC, 90 * 16, -180 * 16)


_DRAWINGS = {
    NOT_DONE: _draw_not_done,
    DONE: _draw_done,
    WARNINGS: _draw_warnings,
    OUTDATED: _draw_outdated,
    RUNNING: _draw_running,
}
