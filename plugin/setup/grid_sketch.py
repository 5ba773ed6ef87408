"""A sketch of the grid: its lines with numbers, directions and states, and its control points."""

import math
from typing import List, Optional, Sequence, Tuple

from qgis.PyQt.QtCore import QPointF, QRectF, QSize, Qt, pyqtSignal
from qgis.PyQt.QtGui import QColor, QPainter, QPalette, QPen, QPolygonF
from qgis.PyQt.QtWidgets import QSizePolicy, QToolTip, QWidget

from ...processing.common.language import tr
from ...processing.survey.grid_plan import PlannedLine
from ..plain_text import as_html
from ..styles.ink import ink

# Palette of Okabe and Ito (see styles/items.py); the way a line runs and its dashes tell the same without colour.
COLOURS = {"x": "#0072b2", "y": "#d55e00"}
COLOURS_ON_DARK = {"x": "#56b4e9", "y": "#e69f00"}
POINT_COLOUR = "#cc79a7"


class GridSketch(QWidget):
    """Draws planned lines; says where it was clicked (`clicked`: local x and y, metres) and which line (`chosen`: its position)."""

    clicked = pyqtSignal(float, float)
    chosen = pyqtSignal(int)

    def __init__(self):
        super().__init__()
        self.lines: Sequence[PlannedLine] = ()
        self.bad = frozenset()  # positions of lines whose file cannot be used
        self.size_m = (1.0, 1.0)
        self.points: Sequence[Tuple[str, Tuple[float, float]]] = ()
        self.selected: Optional[int] = None
        self.waits_for_point = False
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMouseTracking(True)
        self.setToolTip(
            tr(
                "The grid as planned: arrows run the way the line was walked. Dashed: no file yet. Dotted: the file cannot be used."
            )
        )
        self.setAccessibleName(tr("Sketch of the grid"))

    def sizeHint(self) -> QSize:
        side = 22 * self.fontMetrics().height()
        return QSize(side, side)

    def minimumSizeHint(self) -> QSize:
        side = 10 * self.fontMetrics().height()
        return QSize(side, side)

    def show_plan(self, size_m, lines: Sequence[PlannedLine], points=()) -> None:
        """Draw another plan, of whose files nothing is known yet."""
        self.size_m, self.lines, self.bad, self.points = size_m, lines, frozenset(), points
        self.update()

    def select(self, position: Optional[int]) -> None:
        """Draw one line heavier."""
        self.selected = position
        self.update()

    # Local metres to the widget and back

    def _frame(self) -> Tuple[QRectF, float]:
        """Where the grid lies in the widget, and pixels a metre."""
        margin = 2.6 * self.fontMetrics().height()
        width, height = (max(side, 1e-3) for side in self.size_m)
        scale = max(1e-6, min((self.width() - 2 * margin) / width, (self.height() - 2 * margin) / height))
        left, top = (self.width() - scale * width) / 2, (self.height() - scale * height) / 2
        return QRectF(left, top, scale * width, scale * height), scale

    def to_widget(self, local) -> QPointF:
        """The place of a local point in the widget: x to the right, y upwards."""
        frame, scale = self._frame()
        return QPointF(frame.left() + scale * local[0], frame.bottom() - scale * local[1])

    def to_local(self, place: QPointF) -> Tuple[float, float]:
        """The local point at a place of the widget, metres, rounded to what a pixel can tell."""
        frame, scale = self._frame()
        digits = max(0, math.ceil(math.log10(max(scale, 1.0))))
        return round((place.x() - frame.left()) / scale, digits), round((frame.bottom() - place.y()) / scale, digits)

    # Drawing

    def paintEvent(self, _event) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), self.palette().color(QPalette.ColorRole.Base))
        self._draw_grid(painter)
        drawn = set()
        for position, line in enumerate(self.lines):
            place = (line.direction, line.number)
            if place not in drawn or position == self.selected or position in self.bad:
                drawn.add(place)
                self._draw_line(painter, position, line)
        self._draw_numbers(painter)
        self._draw_points(painter)
        painter.end()

    @property
    def _ink(self) -> QColor:
        return ink(self.palette(), QPalette.ColorRole.Base)

    def _draw_grid(self, painter: QPainter) -> None:
        frame, _ = self._frame()
        metrics = self.fontMetrics()
        painter.setPen(QPen(self._ink, 1.0))
        painter.drawRect(frame)
        under = frame.bottom() + 2.3 * metrics.height()
        painter.drawText(
            QRectF(frame.left() - frame.width(), under - metrics.height(), 3 * frame.width(), 1.4 * metrics.height()),
            Qt.AlignmentFlag.AlignCenter,
            tr("x: {size} m", size=f"{self.size_m[0]:g}"),
        )
        painter.save()
        painter.translate(frame.left() - 2.2 * metrics.height(), frame.center().y())
        painter.rotate(-90)
        half = self.height() / 2
        painter.drawText(
            QRectF(-half, -0.7 * metrics.height(), 2 * half, 1.4 * metrics.height()),
            Qt.AlignmentFlag.AlignCenter,
            tr("y: {size} m", size=f"{self.size_m[1]:g}"),
        )
        painter.restore()
        painter.setBrush(self._ink)
        painter.drawEllipse(self.to_widget((0.0, 0.0)), 3.0, 3.0)
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _draw_line(self, painter: QPainter, position: int, line: PlannedLine) -> None:
        start, end = self.to_widget(line.start_m), self.to_widget(line.end_m)
        style = Qt.PenStyle.SolidLine
        if position in self.bad:
            style = Qt.PenStyle.DotLine
        elif line.file is None:
            style = Qt.PenStyle.DashLine
        dark = self.palette().color(QPalette.ColorRole.Base).lightnessF() < 0.5
        colour = QColor((COLOURS_ON_DARK if dark else COLOURS)[line.direction])
        painter.setPen(QPen(colour, 3.5 if position == self.selected else 1.4, style))
        painter.drawLine(start, end)
        length = math.hypot(end.x() - start.x(), end.y() - start.y())
        if length < 1.0:
            return
        ux, uy = (end.x() - start.x()) / length, (end.y() - start.y()) / length
        head = min(0.6 * self.fontMetrics().height(), length / 3)
        back = QPointF(end.x() - head * ux, end.y() - head * uy)
        side = QPointF(-0.45 * head * uy, 0.45 * head * ux)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(colour)
        painter.drawPolygon(QPolygonF([end, back + side, back - side]))
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _draw_numbers(self, painter: QPainter) -> None:
        """The lines' numbers at the grid's lower and left side, as many as have room."""
        metrics = self.fontMetrics()
        painter.setPen(self._ink)
        frame, _ = self._frame()
        free = {"x": math.inf, "y": -math.inf}
        for line in {(one.direction, one.number): one for one in self.lines}.values():
            place, words = self.to_widget(line.start_m), str(line.number)
            if line.direction == "x":  # from the lowest upwards
                if place.y() + metrics.height() / 2 > free["x"]:
                    continue
                free["x"] = place.y() - metrics.height() / 2
                box = QRectF(frame.left() - 3 * metrics.height(), place.y() - metrics.height() / 2, 0, metrics.height())
                box.setRight(frame.left() - 0.3 * metrics.height())
                painter.drawText(box, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, words)
            else:
                half = metrics.horizontalAdvance(words) / 2 + 0.2 * metrics.height()
                if place.x() - half < free["y"]:
                    continue
                free["y"] = place.x() + half
                box = QRectF(place.x() - half, frame.bottom() + 0.15 * metrics.height(), 2 * half, metrics.height())
                painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)

    def _draw_points(self, painter: QPainter) -> None:
        side = 0.45 * self.fontMetrics().height()
        for name, local in self.points:
            place = self.to_widget(local)
            painter.setPen(QPen(self._ink, 1.0))
            painter.setBrush(QColor(POINT_COLOUR))
            corners = ((0.0, -side), (side, 0.8 * side), (-side, 0.8 * side))
            painter.drawPolygon(QPolygonF([place + QPointF(*corner) for corner in corners]))
            painter.drawText(place + QPointF(1.2 * side, -0.6 * side), name)

    # Mouse

    def mousePressEvent(self, event) -> None:
        place = QPointF(event.pos())
        if self.waits_for_point:
            self.clicked.emit(*self.to_local(place))
            return
        near = self._nearest(place)
        if near is not None:
            self.chosen.emit(near)

    def mouseMoveEvent(self, event) -> None:
        near = self._nearest(QPointF(event.pos()))
        if near is None:
            QToolTip.hideText()
            return
        line = self.lines[near]
        same = [one for one in self.lines if (one.direction, one.number) == (line.direction, line.number)]
        said = [f"{one.line_id} {one.dipole_axis}: {one.file.name if one.file else tr('no file')}" for one in same]
        QToolTip.showText(self.mapToGlobal(event.pos()), as_html("\n".join(said)), self)

    def _nearest(self, place: QPointF) -> Optional[int]:
        """Position of the line that runs within half a line of text of a place."""
        reach = 0.5 * self.fontMetrics().height()
        found: List[Tuple[float, int]] = []
        for position, line in enumerate(self.lines):
            a, b = self.to_widget(line.start_m), self.to_widget(line.end_m)
            box = QRectF(a, b).normalized().adjusted(-reach, -reach, reach, reach)
            if box.contains(place):
                away = abs(place.y() - a.y()) if line.direction == "x" else abs(place.x() - a.x())
                found.append((away, position))
        return min(found)[1] if found else None
