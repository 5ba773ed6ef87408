"""The picture of a section: zoomed and moved with the mouse, with picks, items and a curve that can be dragged."""

from dataclasses import replace
from typing import List, Optional

from qgis.PyQt.QtCore import QPointF, QRectF, Qt, pyqtSignal
from qgis.PyQt.QtGui import QColor, QPainter, QPen

from ....processing.common.language import tr
from ....processing.views.section import Section
from ....processing.views.travel_curve import FASTEST_M_NS, SLOWEST_M_NS, TravelCurve
from ...styles.ink import ink
from .frame import SectionFrame
from .ground import SectionGround
from .image import image_of
from .marks import PICK, Mark, MarkPainter

LOOK, EDIT = "look", "edit"
WHEEL_STEP = 1.25


class SectionView(SectionFrame):
    """One panel of one section, and what the mouse does to it."""

    cursorMoved = pyqtSignal(float, float)  # distance, depth
    cursorLeft = pyqtSignal()
    pickWanted = pyqtSignal(float, float)  # distance, depth
    pickMoved = pyqtSignal(int, float, float)  # feature, distance, depth
    pickChosen = pyqtSignal(int)  # feature, -1 for none
    deleteWanted = pyqtSignal()
    neighbourWanted = pyqtSignal(int)  # 1 the next line, -1 the one before
    curveChanged = pyqtSignal()

    def __init__(self, parent=None):
        super().__init__(parent)
        self.marks: List[Mark] = []
        self.curve: Optional[TravelCurve] = None
        self.message = tr("Choose a scan line on the map, or draw a section across the depth slices.")
        self.mode = LOOK
        self.cursor_m: Optional[float] = None
        self._ground = SectionGround(self)
        self._dragged: Optional[str] = None  # view, pick, apex or flank
        self._grip = QPointF()
        self._moving: Optional[Mark] = None
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    # What is shown

    def show_section(self, section: Section, number: int, keep_place: bool = False) -> None:
        """Show one panel; `keep_place` keeps the stretch that is looked at."""
        before = self.shown
        self.section = section
        self.picture = image_of(section, section.panels[number])
        self.shown = QRectF(self.picture.shown)
        if keep_place:
            self.shown.setLeft(before.left())
            self.shown.setRight(before.right())
        self._moving = None
        self.update()

    def show_message(self, text: str) -> None:
        """Instead of a section, a sentence."""
        self.section = self.picture = self.curve = None
        self.marks, self.message = [], text
        self.update()

    def show_marks(self, marks: List[Mark]) -> None:
        self.marks = marks
        self.update()

    def show_curve(self, curve: Optional[TravelCurve]) -> None:
        self.curve = curve
        self.update()

    def show_cursor(self, distance_m: Optional[float]) -> None:
        """A line at a distance along the section, or none."""
        if distance_m != self.cursor_m:
            self.cursor_m = distance_m
            self.update()

    def mark_at(self, point: QPointF) -> Optional[Mark]:
        """The nearest pick within reach of the mouse."""
        reach = 0.7 * self.em
        found = None
        for mark in self.marks:
            away = self.point_of_depth(mark.distance_m, mark.depth_m) - point
            if mark.what == PICK and abs(away.x()) + abs(away.y()) < reach:
                found, reach = mark, abs(away.x()) + abs(away.y())
        return found

    # Drawing

    def paintEvent(self, event):
        painter = QPainter(self)
        if self.picture is None:
            painter.setPen(ink(self.palette()))
            painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap, self.message)
            return
        painter.drawPixmap(0, 0, self._ground.pixmap())
        plot = self.plot
        painter.save()
        painter.setClipRect(plot)
        marks = MarkPainter(painter, self)
        marks.draw([self._moving if self._is_moving(mark) else mark for mark in self._marks_in_view()])
        if self.curve is not None and not self.in_depth:
            marks.draw_curve(self.curve)
        if self.cursor_m is not None:
            x = self.point(self.cursor_m, 0.0).x()
            for pen in (QPen(QColor("#ffffff"), 0.2 * self.em), QPen(QColor("#0072b2"), 0.1 * self.em)):
                painter.setPen(pen)
                painter.drawLine(QPointF(x, plot.top()), QPointF(x, plot.bottom()))
        painter.restore()

    def _marks_in_view(self) -> List[Mark]:
        """Without those so far outside that not even their bars reach in."""
        margin = 0.1 * self.shown.width() + 0.1
        low, high = self.shown.left() - margin, self.shown.right() + margin
        return [mark for mark in self.marks if low <= mark.distance_m <= high]

    def _is_moving(self, mark: Mark) -> bool:
        return self._moving is not None and (mark.what, mark.fid) == (PICK, self._moving.fid)

    # Mouse and keys

    def mousePressEvent(self, event):
        if self.picture is None or event.button() != Qt.MouseButton.LeftButton:
            return
        point = QPointF(event.pos())
        self._grip = point
        self._dragged = "view"
        if self.curve is not None and not self.in_depth:
            self._dragged = self._part_of_curve(point) or "view"
        if self._dragged == "view":
            mark = self.mark_at(point)
            self.pickChosen.emit(mark.fid if mark is not None else -1)
            if mark is not None and self.mode == EDIT:
                self._dragged, self._moving = "pick", mark
            elif self.mode == EDIT and self.plot.contains(point):
                self._dragged = None
                self.pickWanted.emit(*self.depth_at(point))

    def mouseMoveEvent(self, event):
        if self.picture is None:
            return
        point = QPointF(event.pos())
        if event.buttons() & Qt.MouseButton.LeftButton and self._dragged is not None:
            self._drag_to(point)
        distance, depth = self.depth_at(point)
        if self.plot.contains(point):
            self.show_cursor(distance)
            self.cursorMoved.emit(distance, depth)
        else:
            self.leaveEvent(None)

    def mouseReleaseEvent(self, event):
        if self._dragged == "pick" and self._moving is not None:
            moved, self._moving = self._moving, None
            if QPointF(event.pos()) != self._grip:
                self.pickMoved.emit(moved.fid, moved.distance_m, moved.depth_m)
            self.update()
        self._dragged = None

    def mouseDoubleClickEvent(self, event):
        if self.mode == LOOK:
            self.show_all()

    def leaveEvent(self, event):
        self.show_cursor(None)
        self.cursorLeft.emit()

    def wheelEvent(self, event):
        if self.picture is None:
            return
        turns = (event.angleDelta().y() or event.angleDelta().x()) / 120.0  # some systems turn it with Alt
        keys = event.modifiers()
        along = not keys & Qt.KeyboardModifier.ShiftModifier
        down = not keys & Qt.KeyboardModifier.ControlModifier
        self.zoom(WHEEL_STEP**turns, QPointF(event.position()), along, down)
        event.accept()

    def keyPressEvent(self, event):
        steps = {
            Qt.Key.Key_Left: (-0.1, 0.0),
            Qt.Key.Key_Right: (0.1, 0.0),
            Qt.Key.Key_Up: (0.0, -0.1),
            Qt.Key.Key_Down: (0.0, 0.1),
        }
        pages = {Qt.Key.Key_PageUp: -1, Qt.Key.Key_PageDown: 1}
        zooms = {Qt.Key.Key_Plus: WHEEL_STEP, Qt.Key.Key_Minus: 1 / WHEEL_STEP}
        if self.picture is None:
            super().keyPressEvent(event)
        elif event.key() in steps:
            along, down = steps[event.key()]
            self.move_by(along * self.shown.width(), down * self.shown.height())
        elif event.key() in zooms:
            self.zoom(zooms[event.key()], self.plot.center())
        elif event.key() in pages:
            self.neighbourWanted.emit(pages[event.key()])
        elif event.key() == Qt.Key.Key_Home:
            self.show_all()
        elif event.key() in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace) and self.mode == EDIT:
            self.deleteWanted.emit()
        else:
            super().keyPressEvent(event)

    def _drag_to(self, point: QPointF) -> None:
        before, now = self.data_at(self._grip), self.data_at(point)
        if self._dragged == "view":
            self.move_by(before[0] - now[0], before[1] - now[1])
            self._grip = point
        elif self._dragged == "pick":
            distance, depth = self.depth_at(point)
            distance = min(max(distance, 0.0), self.section.path.length_m)
            self._moving = replace(self._moving, distance_m=distance, depth_m=depth)
            self.update()
        else:
            if self._dragged == "apex":
                shallowest = float(self.section.picture.time_of_depth(0.0))
                curve = replace(self.curve, apex_m=now[0], apex_ns=max(now[1], shallowest))
            else:
                curve = self.curve.through(*now)
            self.curve = replace(curve, speed_m_ns=min(max(curve.speed_m_ns, SLOWEST_M_NS), FASTEST_M_NS))
            self.curveChanged.emit()
            self.update()

    def _part_of_curve(self, point: QPointF) -> Optional[str]:
        """Is the mouse at the curve's apex, or on a flank?"""
        apex = self.point(self.curve.apex_m, self.curve.apex_ns)
        if abs(apex.x() - point.x()) + abs(apex.y() - point.y()) < 1.2 * self.em:
            return "apex"
        distance, _ = self.data_at(point)
        on_curve = self.point(distance, float(self.curve.time_ns(distance)))
        return "flank" if abs(on_curve.y() - point.y()) < 0.8 * self.em else None
