"""Where the distances and depths of a section lie on the screen; magnified and moved."""

from typing import Optional, Tuple

import numpy as np
from qgis.PyQt.QtCore import QEvent, QPointF, QRectF, QSize
from qgis.PyQt.QtGui import QPolygonF
from qgis.PyQt.QtWidgets import QSizePolicy, QWidget

from ....processing.views.section import Section
from .image import SectionImage

SMALLEST_PART = 0.02  # of the whole: the closest that one can zoom in


class SectionFrame(QWidget):
    """What the picture of a section and all that is drawn over it agree on.

    Distances are metres along the section; the vertical axis is depth (m) or time after time zero (ns), as the picture has it.
    `shown` is the part that is looked at, in both.
    """

    def __init__(self, parent=None):
        super().__init__(parent)
        self.section: Optional[Section] = None
        self.picture: Optional[SectionImage] = None
        self.shown = QRectF(0, 0, 1, 1)
        self._framed: Optional[Tuple] = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def sizeHint(self) -> QSize:
        return QSize(50 * self.em, 16 * self.em)

    def minimumSizeHint(self) -> QSize:
        return QSize(20 * self.em, 8 * self.em)

    @property
    def em(self) -> int:
        """The height of a line of text, of which all sizes are multiples."""
        return self._frame()[0]

    @property
    def plot(self) -> QRectF:
        """The widget without its axes."""
        return self._frame()[1]

    def _frame(self) -> Tuple[int, QRectF]:
        """`em` and `plot`, kept as long as nothing changes that they depend on: a frame asks for them a thousand times."""
        key = (self.width(), self.height(), self.section is not None and self.section.picture is not None)
        if self._framed is None or self._framed[0] != key:
            em = self.fontMetrics().height()
            right = 5.2 if key[-1] else 1.0
            plot = QRectF(self.rect()).adjusted(4.6 * em, 0.7 * em, -right * em, -2.7 * em)
            self._framed = (key, em, plot)
        return self._framed[1:]

    def changeEvent(self, event):
        if event.type() in (QEvent.Type.FontChange, QEvent.Type.StyleChange):
            self._framed = None
        super().changeEvent(event)

    @property
    def in_depth(self) -> bool:
        return self.picture is None or self.picture.in_depth

    def across(self, distance_m):
        """Screen x of distances (m), one or many."""
        return self.plot.left() + (distance_m - self.shown.left()) / self.shown.width() * self.plot.width()

    def down(self, vertical):
        """Screen y of values of the vertical axis, one or many."""
        return self.plot.top() + (vertical - self.shown.top()) / self.shown.height() * self.plot.height()

    def point(self, distance_m: float, vertical: float) -> QPointF:
        """Place on the screen of a distance and a value of the vertical axis."""
        return QPointF(self.across(distance_m), self.down(vertical))

    def point_of_depth(self, distance_m: float, depth_m: float) -> QPointF:
        """The same for a depth (m), whatever the vertical axis is."""
        return self.point(distance_m, float(self.vertical_of_depth(depth_m)))

    def polygon(self, distances_m: np.ndarray, verticals: np.ndarray) -> QPolygonF:
        """Many places at once."""
        x, y = self.across(distances_m).tolist(), self.down(verticals).tolist()
        return QPolygonF([QPointF(*place) for place in zip(x, y)])

    def vertical_of_depth(self, depth_m):
        """The value of the vertical axis for depths (m)."""
        return depth_m if self.in_depth else self.section.picture.time_of_depth(depth_m)

    def data_at(self, point: QPointF) -> Tuple[float, float]:
        """Distance and value of the vertical axis at a place on the screen."""
        plot = self.plot
        distance = self.shown.left() + (point.x() - plot.left()) / plot.width() * self.shown.width()
        vertical = self.shown.top() + (point.y() - plot.top()) / plot.height() * self.shown.height()
        return distance, vertical

    def depth_at(self, point: QPointF) -> Tuple[float, float]:
        """Distance and depth (m) at a place on the screen."""
        distance, vertical = self.data_at(point)
        return distance, max(vertical if self.in_depth else float(self.section.depth_of_time(vertical)), 0.0)

    def show_all(self) -> None:
        """The whole section."""
        if self.picture is not None:
            self.shown = QRectF(self.picture.shown)
            self.update()

    def zoom(self, factor: float, about: QPointF, along: bool = True, down: bool = True) -> None:
        """Magnify about a place on the screen, which stays where it is."""
        distance, vertical = self.data_at(about)
        whole = self.picture.shown
        width = min(max(self.shown.width() / (factor if along else 1.0), SMALLEST_PART * whole.width()), whole.width())
        height = min(
            max(self.shown.height() / (factor if down else 1.0), SMALLEST_PART * whole.height()), whole.height()
        )
        left = distance - (distance - self.shown.left()) * width / self.shown.width()
        top = vertical - (vertical - self.shown.top()) * height / self.shown.height()
        self.shown = QRectF(left, top, width, height)
        self.move_by(0.0, 0.0)

    def move_by(self, distance: float, vertical: float) -> None:
        """Move what is shown, not beyond the ends."""
        whole = self.picture.shown
        self.shown.translate(distance, vertical)
        self.shown.moveLeft(min(max(self.shown.left(), whole.left()), whole.right() - self.shown.width()))
        self.shown.moveTop(min(max(self.shown.top(), whole.top()), whole.bottom() - self.shown.height()))
        self.update()
