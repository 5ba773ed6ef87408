"""What is drawn over a section: picks and items with their uncertainty, where the reliable depth ends, a curve."""

from dataclasses import dataclass
from typing import List, Optional, Sequence, Tuple

import numpy as np
from qgis.PyQt.QtCore import QPointF, QRectF, Qt
from qgis.PyQt.QtGui import QBrush, QColor, QPainter, QPen, QPixmap, QPixmapCache, QPolygonF

from ....processing.common.vocabulary.kinds import kind_of

PICK = "pick"
WITHIN_95 = 1.96  # sigmas either side
PICK_COLOUR, SELECTED_COLOUR, CURVE_COLOUR = QColor("#ffffff"), QColor("#f0e442"), QColor("#d55e00")
RIM = QColor("#000000")
Place = Tuple[float, float, List[Tuple]]  # x and y on the screen, and left, top, width, height of each bar


@dataclass(frozen=True)
class Mark:
    """A pick, or an item where it crosses the section.

    Attributes
    ----------
    fid : int
        Of its feature in the layer.
    what : str
        ``pick``, or the kind of the item.
    distance_m, depth_m : float
        Along the section, and to the top.
    sigma_along_m, sigma_depth_m : float or None
        1-sigma; None where it is not known.
    """

    fid: int
    what: str
    label: str
    distance_m: float
    depth_m: float
    sigma_along_m: Optional[float] = None
    sigma_depth_m: Optional[float] = None
    is_selected: bool = False


def _colour(kind: str) -> QColor:
    return QColor(kind_of(kind).colour)


class MarkPainter:
    """Draws marks through `view`, which knows where distances and depths lie on the screen."""

    def __init__(self, painter: QPainter, view):
        self.painter, self.view, self.em = painter, view, view.em

    def draw(self, marks: Sequence[Mark]) -> None:
        """Items first, picks on top of them; labels as far as there is room, that of a selected item before others."""
        marks = sorted(marks, key=lambda mark: mark.what == PICK)
        places = self._places(marks)
        for mark, place in zip(marks, places):
            self._draw_mark(mark, place)
        half = 0.5 * self.em
        taken = [QRectF(x - half, y - half, self.em, self.em) for x, y, _bars in places]
        for mark, (x, y, _bars) in sorted(zip(marks, places), key=lambda pair: not pair[0].is_selected):
            if mark.what != PICK or mark.is_selected:
                self._draw_label(mark.label, x, y + 1.3 * self.em, taken)

    def _places(self, marks: Sequence[Mark]) -> List[Place]:
        """Where marks lie on the screen, and the bars that hold them with 95 per cent along the section and in depth."""
        columns = [[mark.distance_m, mark.depth_m, mark.sigma_along_m or 0, mark.sigma_depth_m or 0] for mark in marks]
        distance, depth, along, down = np.array(columns, float).reshape(-1, 4).T
        along, down = WITHIN_95 * along, WITHIN_95 * down
        rows = [self.view.across(values) for values in (distance, distance - along, distance + along)]
        for values in (depth, np.maximum(depth - down, 0.0), depth + down):
            rows.append(self.view.down(self.view.vertical_of_depth(values)))
        places = []
        for x, left, right, y, top, bottom in np.transpose(rows).tolist():
            bars = [(left, y, right - left, 0)] if right > left else []
            places.append((x, y, [*bars, (x, top, 0, bottom - top)] if bottom > top else bars))
        return places

    def _draw_mark(self, mark: Mark, place: Place) -> None:
        x, y, bars = place
        bar_colour = RIM if mark.what == PICK else _colour(mark.what)
        for colour, width in ((QColor("#ffffff"), 0.24 * self.em), (bar_colour, 0.1 * self.em)):
            half = 0.5 * max(width, 1.0)
            for bar in bars:
                self.painter.fillRect(QRectF(*bar).adjusted(-half, -half, half, half), colour)
        symbol = self._symbol(mark.what, mark.is_selected)
        half = 0.5 * symbol.width() / symbol.devicePixelRatio()
        self.painter.drawPixmap(QPointF(x - half, y - half), symbol)

    def _symbol(self, what: str, is_selected: bool) -> QPixmap:
        """Ring of a pick or diamond of an item, drawn once: smooth edges of dozens of them would take most of a frame."""
        scale = self.view.devicePixelRatioF()
        key = f"inslab {what} {is_selected} {self.em} {scale}"
        symbol = QPixmapCache.find(key)
        if symbol is None or symbol.isNull():
            side = round((2.2 * self.em + 1) * scale)
            symbol = QPixmap(side, side)
            symbol.setDevicePixelRatio(scale)
            symbol.fill(Qt.GlobalColor.transparent)
            painter = QPainter(symbol)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.translate(0.5 * side / scale, 0.5 * side / scale)
            if what == PICK:
                self._draw_ring(painter, 0.34, PICK_COLOUR, 0.12)
            else:
                size = 0.55 * self.em
                painter.setPen(QPen(QColor("#ffffff"), 0.12 * self.em))
                painter.setBrush(_colour(what))
                painter.drawPolygon(QPolygonF([QPointF(*at) for at in ((0, -size), (size, 0), (0, size), (-size, 0))]))
            if is_selected:
                self._draw_ring(painter, 0.85, SELECTED_COLOUR, 0.16)
            painter.end()
            QPixmapCache.insert(key, symbol)
        return symbol

    def _draw_ring(self, painter: QPainter, radius: float, colour: QColor, width: float) -> None:
        """Open, so that what lies below stays visible; legible on black and on white."""
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for pen in (QPen(RIM, 2.1 * width * self.em), QPen(colour, width * self.em)):
            painter.setPen(pen)
            painter.drawEllipse(QPointF(0, 0), radius * self.em, radius * self.em)

    def _draw_label(self, text: str, x: float, y: float, taken: List[QRectF]) -> None:
        width = self.painter.fontMetrics().horizontalAdvance(text) + 0.4 * self.em
        box = QRectF(x - 0.5 * width, y - 0.55 * self.em, width, 1.1 * self.em)
        if not self.view.plot.contains(box) or any(box.intersects(other) for other in taken):
            return
        taken.append(box)
        self.painter.fillRect(box, QColor(255, 255, 255, 210))
        self.painter.setPen(RIM)
        self.painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)

    def draw_unreliable(self, at_m: np.ndarray, depth_m: np.ndarray) -> None:
        """Hatching below the depth that counts as scanned; where none does, from the surface on."""
        plot, shown = self.view.plot, self.view.shown
        # Only what is in view: hatching all of a magnified line would take long.
        first, last = np.searchsorted(at_m, (shown.left(), shown.right()))
        part = slice(max(first - 1, 0), last + 1)
        below = np.minimum(self.view.vertical_of_depth(np.nan_to_num(depth_m[part])), shown.bottom())
        bends = np.ones(len(below), bool)
        bends[1:-1] = (
            np.abs(np.diff(below, 2)) > 1e-9
        )  # places are even: what lies between two others on a line adds nothing
        limit = self.view.polygon(at_m[part][bends], below[bends])
        area = QPolygonF([QPointF(limit[0].x(), plot.bottom()), *limit, QPointF(limit[-1].x(), plot.bottom())])
        self.painter.setPen(Qt.PenStyle.NoPen)
        for colour, pattern in ((QColor(255, 255, 255, 70), None), (QColor(0, 0, 0, 150), Qt.BrushStyle.BDiagPattern)):
            self.painter.setBrush(QBrush(colour) if pattern is None else QBrush(colour, pattern))
            self.painter.drawPolygon(area)

    def draw_curve(self, curve) -> None:
        """The curve of a test of the wave speed, with a handle at its apex."""
        self.painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        extent = self.view.shown
        distance = np.linspace(extent.left(), extent.right(), 241)
        points = self.view.polygon(distance, curve.time_ns(distance))
        apex = self.view.point(curve.apex_m, curve.apex_ns)
        self.painter.setBrush(Qt.BrushStyle.NoBrush)
        for pen in (QPen(QColor("#ffffff"), 0.34 * self.em), QPen(CURVE_COLOUR, 0.16 * self.em)):
            self.painter.setPen(pen)
            self.painter.drawPolyline(points)
        self.painter.setBrush(QColor("#ffffff"))
        self.painter.drawRect(
            QRectF(apex.x() - 0.35 * self.em, apex.y() - 0.35 * self.em, 0.7 * self.em, 0.7 * self.em)
        )
