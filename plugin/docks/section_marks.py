"""What is drawn over a section: picks and items with their uncertainty, where the reliable depth ends, a curve."""

from dataclasses import dataclass
from typing import Optional, Sequence

import numpy as np
from qgis.PyQt.QtCore import QPointF, QRectF, Qt
from qgis.PyQt.QtGui import QBrush, QColor, QPainter, QPen, QPolygonF

from ..styles.items import KIND_STYLES

PICK = "pick"
WITHIN_95 = 1.96  # sigmas either side
PICK_COLOUR, SELECTED_COLOUR, CURVE_COLOUR = QColor("#ffffff"), QColor("#f0e442"), QColor("#d55e00")
RIM = QColor("#000000")


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


class MarkPainter:
    """Draws marks through `view`, which knows where distances and depths lie on the screen."""

    def __init__(self, painter: QPainter, view):
        self.painter, self.view, self.em = painter, view, view.em

    def draw(self, marks: Sequence[Mark]) -> None:
        """Items first, picks on top of them; labels as far as there is room, that of a selected item before others."""
        for mark in sorted(marks, key=lambda mark: mark.what == PICK):
            self._draw_mark(mark)
        half = QPointF(0.5 * self.em, 0.5 * self.em)
        places = [self.view.point_of_depth(mark.distance_m, mark.depth_m) for mark in marks]
        taken = [QRectF(place - half, place + half) for place in places]
        for mark in sorted(marks, key=lambda mark: not mark.is_selected):
            if mark.what != PICK or mark.is_selected:
                self._draw_label(mark, taken)

    def _draw_mark(self, mark: Mark) -> None:
        at = self.view.point_of_depth(mark.distance_m, mark.depth_m)
        colour = PICK_COLOUR if mark.what == PICK else QColor(KIND_STYLES.get(mark.what, KIND_STYLES["unknown"])[1])
        size = 0.34 * self.em if mark.what == PICK else 0.55 * self.em
        bars = self._bars(mark)
        for pen in (QPen(QColor("#ffffff"), 0.24 * self.em), QPen(RIM if mark.what == PICK else colour, 0.1 * self.em)):
            self.painter.setPen(pen)
            for line in bars:
                self.painter.drawLine(*line)
        if mark.what == PICK:
            self._draw_ring(at, size, RIM, colour, 0.12)
        else:
            diamond = [QPointF(0, -size), QPointF(size, 0), QPointF(0, size), QPointF(-size, 0)]
            self.painter.setPen(QPen(QColor("#ffffff"), 0.12 * self.em))
            self.painter.setBrush(colour)
            self.painter.drawPolygon(QPolygonF([at + corner for corner in diamond]))
        if mark.is_selected:
            self._draw_ring(at, 0.85 * self.em, RIM, SELECTED_COLOUR, 0.16)

    def _draw_ring(self, at: QPointF, radius: float, rim: QColor, colour: QColor, width: float) -> None:
        """Open, so that what lies below stays visible; legible on black and on white."""
        self.painter.setBrush(Qt.BrushStyle.NoBrush)
        for pen in (QPen(rim, 2.1 * width * self.em), QPen(colour, width * self.em)):
            self.painter.setPen(pen)
            self.painter.drawEllipse(at, radius, radius)

    def _bars(self, mark: Mark):
        """From end to end of what holds the place with 95 per cent: along the section, and in depth."""
        found = []
        if mark.sigma_along_m:
            half = WITHIN_95 * mark.sigma_along_m
            ends = (mark.distance_m - half, mark.distance_m + half)
            found.append([self.view.point_of_depth(end, mark.depth_m) for end in ends])
        if mark.sigma_depth_m:
            half = WITHIN_95 * mark.sigma_depth_m
            ends = (max(mark.depth_m - half, 0.0), mark.depth_m + half)
            found.append([self.view.point_of_depth(mark.distance_m, end) for end in ends])
        return found

    def _draw_label(self, mark: Mark, taken: list) -> None:
        box = QRectF(0, 0, self.painter.fontMetrics().horizontalAdvance(mark.label) + 0.4 * self.em, 1.1 * self.em)
        box.moveCenter(self.view.point_of_depth(mark.distance_m, mark.depth_m) + QPointF(0, 1.3 * self.em))
        if not self.view.plot.contains(box) or any(box.intersects(other) for other in taken):
            return
        taken.append(box)
        self.painter.fillRect(box, QColor(255, 255, 255, 210))
        self.painter.setPen(RIM)
        self.painter.drawText(box, Qt.AlignmentFlag.AlignCenter, mark.label)

    def draw_unreliable(self, at_m: np.ndarray, depth_m: np.ndarray) -> None:
        """Hatching below the depth that counts as scanned; where none does, from the surface on."""
        plot = self.view.plot
        limit = self.view.polygon(at_m, self.view.vertical_of_depth(np.nan_to_num(depth_m)))
        area = QPolygonF([QPointF(limit[0].x(), plot.bottom()), *limit, QPointF(limit[-1].x(), plot.bottom())])
        area = area.intersected(QPolygonF(plot))  # hatching all of a magnified line would take long
        self.painter.setPen(Qt.PenStyle.NoPen)
        for colour, pattern in ((QColor(255, 255, 255, 70), None), (QColor(0, 0, 0, 150), Qt.BrushStyle.BDiagPattern)):
            self.painter.setBrush(QBrush(colour) if pattern is None else QBrush(colour, pattern))
            self.painter.drawPolygon(area)

    def draw_curve(self, curve) -> None:
        """The curve of a test of the wave speed, with a handle at its apex."""
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
