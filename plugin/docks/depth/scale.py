"""The ruler of the depth panel: a slider that also shows how many items lie how deep, and where the reliable depth ends."""

from typing import List, Optional, Sequence, Tuple

from qgis.PyQt.QtCore import QPointF, QRectF, QSize, Qt
from qgis.PyQt.QtGui import QBrush, QColor, QPainter, QPalette, QPen
from qgis.PyQt.QtWidgets import QAbstractSlider, QSizePolicy

from ....processing.common.language import tr
from ...styles.ink import ink

TICKS_MM = (5, 10, 20, 50, 100, 200, 500, 1000)


class DepthScale(QAbstractSlider):
    """Depth downwards; the value is the number of the slice, from 0. Wheel, arrow keys, page keys, Home and End work as well."""

    def __init__(self, parent=None):
        super().__init__(parent)
        self.setOrientation(Qt.Orientation.Vertical)
        self.setInvertedAppearance(True)
        self.setInvertedControls(True)  # down is deeper
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setPageStep(5)
        self.ranges_m: List[Tuple[float, float]] = []
        self.counts: List[int] = []
        self.reliable_m: Optional[Tuple[float, float]] = None
        self.window_m: Optional[Tuple[float, float]] = None
        self.setRange(0, 0)

    def show_slices(self, ranges_m: Sequence[Tuple[float, float]], item_depths_m: Sequence[float]) -> None:
        """Limits of the slices, metres, and the depths of the items' tops."""
        self.ranges_m = list(ranges_m)
        self.counts = [sum(top <= depth < base for depth in item_depths_m) for top, base in self.ranges_m]
        self.setRange(0, max(len(self.ranges_m) - 1, 0))
        self.setEnabled(bool(self.ranges_m))
        self.update()

    def show_reliable(self, reliable_m: Optional[Tuple[float, float]]) -> None:
        """Smallest and largest depth that counts as scanned among the areas in view, metres; None where it is not known."""
        self.reliable_m = reliable_m
        self.update()

    def show_window(self, from_m: float, to_m: float) -> None:
        """Depths whose items are drawn in full, metres."""
        self.window_m = (from_m, to_m)
        self.update()

    def reliable_text(self) -> str:
        """What is known of the reliable depth, in words."""
        if self.reliable_m is None:
            return tr("reliable depth not known")
        low, high = (round(1000 * depth) for depth in self.reliable_m)
        return tr("reliable to {depth} mm", depth=low if low == high else f"{low}–{high}")

    def range_text(self) -> str:
        """The slice, in words."""
        if not self.ranges_m:
            return ""
        top, base = self.ranges_m[self.value()]
        return f"{1000 * top:.0f}–{1000 * base:.0f} mm"

    def sizeHint(self) -> QSize:
        return QSize(self._text_width("000") + self._text_width(self.reliable_text()) + 4 * self._em, 22 * self._em)

    def minimumSizeHint(self) -> QSize:
        return QSize(self.sizeHint().width(), 9 * self._em)

    @property
    def _em(self) -> int:
        return self.fontMetrics().height()

    def _text_width(self, text: str) -> int:
        return self.fontMetrics().horizontalAdvance(text)

    def _y(self, depth_m: float) -> float:
        """Height in the widget of a depth."""
        deepest = self.ranges_m[-1][1]
        return 0.8 * self._em + depth_m / deepest * (self.height() - 1.6 * self._em)

    def _slice_at(self, y: float) -> int:
        deepest = self.ranges_m[-1][1]
        depth = (y - 0.8 * self._em) / max(self.height() - 1.6 * self._em, 1) * deepest
        return next((n for n, (_top, base) in enumerate(self.ranges_m) if depth < base), len(self.ranges_m) - 1)

    def mousePressEvent(self, event):
        if self.ranges_m and event.button() == Qt.MouseButton.LeftButton:
            self.setSliderDown(True)
            self.setValue(self._slice_at(event.pos().y()))

    def mouseMoveEvent(self, event):
        if self.ranges_m and event.buttons() & Qt.MouseButton.LeftButton:
            self.setValue(self._slice_at(event.pos().y()))

    def mouseReleaseEvent(self, event):
        self.setSliderDown(False)

    def paintEvent(self, event):
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if not self.ranges_m:
            text = tr("This project shows no depth slices. Load a result first.")
            painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap, text)
            return
        palette, em = self.palette(), self._em
        left = self._text_width("0000") + 0.6 * em
        track = QRectF(left, self._y(0.0), 1.4 * em, self._y(self.ranges_m[-1][1]) - self._y(0.0))
        painter.setPen(palette.color(QPalette.ColorRole.Mid))
        painter.setBrush(palette.color(QPalette.ColorRole.Base))
        painter.drawRect(track)
        self._draw_counts(painter, track)
        self._draw_ticks(painter, left)
        self._draw_unreliable(painter, track)
        self._draw_handle(painter, track)

    def _draw_ticks(self, painter, left) -> None:
        deepest_mm = 1000 * self.ranges_m[-1][1]
        room = (self.height() - 1.6 * self._em) / (1.5 * self._em)
        step = next((step for step in TICKS_MM if deepest_mm / step <= room), TICKS_MM[-1])
        painter.setPen(ink(self.palette()))
        for depth_mm in range(0, round(deepest_mm) + 1, step):
            y = self._y(0.001 * depth_mm)
            painter.drawLine(QPointF(left - 0.4 * self._em, y), QPointF(left, y))
            box = QRectF(0, y - 0.6 * self._em, left - 0.6 * self._em, 1.2 * self._em)
            painter.drawText(box, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, str(depth_mm))

    def _draw_counts(self, painter, track) -> None:
        """A bar in each slice, as long as it has items."""
        most = max(self.counts, default=0)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self.palette().color(QPalette.ColorRole.Mid))
        for count, (top, base) in zip(self.counts, self.ranges_m):
            if count:
                width = max(track.width() * count / most, 0.15 * track.width())
                painter.drawRect(QRectF(track.left(), self._y(top), width, self._y(base) - self._y(top)))

    def _draw_unreliable(self, painter, track) -> None:
        """Hatching from where it begins in the first area of the view, denser from where it begins in all of them."""
        colour = ink(self.palette())
        deepest = self.ranges_m[-1][1]
        begins = self.reliable_m or (0.0, 0.0)
        for depth, pattern in zip(begins, (Qt.BrushStyle.BDiagPattern, Qt.BrushStyle.FDiagPattern)):
            if depth < deepest:
                area = QRectF(track.left(), self._y(depth), track.width(), self._y(deepest) - self._y(depth))
                painter.fillRect(area, QBrush(colour, pattern))
        y = self._y(min(begins[0], deepest))
        pen = QPen(colour, 0.1 * self._em)
        pen.setStyle(Qt.PenStyle.DashLine)
        painter.setPen(pen)
        end = track.right() + 0.4 * self._em
        painter.drawLine(QPointF(track.left(), y), QPointF(end, y))
        self._draw_text(painter, end + 0.2 * self._em, y, self.reliable_text(), avoid=self._handle_y())

    def _handle_y(self) -> float:
        top, base = self.ranges_m[self.value()]
        return 0.5 * (self._y(top) + self._y(base))

    def _draw_handle(self, painter, track) -> None:
        palette = self.palette()
        top, base = self.ranges_m[self.value()]
        colour = palette.color(QPalette.ColorRole.Highlight)
        if self.window_m is not None:
            faint = QColor(colour)
            faint.setAlphaF(0.3)
            shallow, deep = (min(max(depth, 0.0), self.ranges_m[-1][1]) for depth in self.window_m)
            painter.fillRect(
                QRectF(track.left(), self._y(shallow), track.width(), self._y(deep) - self._y(shallow)), faint
            )
        painter.setPen(QPen(ink(palette), 0.1 * self._em))
        painter.setBrush(colour)
        grip = QRectF(
            track.left() - 0.2 * self._em, self._y(top), track.width() + 0.4 * self._em, self._y(base) - self._y(top)
        )
        painter.drawRect(grip.adjusted(0, -1, 0, 1))
        if self.hasFocus():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(grip.adjusted(-0.2 * self._em, -0.25 * self._em, 0.2 * self._em, 0.25 * self._em))
        font = self.font()
        font.setBold(True)
        painter.setFont(font)
        self._draw_text(painter, grip.right() + 0.4 * self._em, self._handle_y(), self.range_text())
        painter.setFont(self.font())

    def _draw_text(self, painter, x, y, text, avoid=None) -> None:
        """Text beside the track at height y, moved away from the height `avoid` that is taken already."""
        if avoid is not None and abs(y - avoid) < 1.2 * self._em:
            y = avoid + (1.2 if y >= avoid and avoid < self.height() - 2.4 * self._em else -1.2) * self._em
        y = min(max(y, 0.6 * self._em), self.height() - 0.6 * self._em)
        painter.setPen(ink(self.palette()))
        box = QRectF(x, y - 0.6 * self._em, self.width() - x, 1.2 * self._em)
        painter.drawText(box, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, text)
