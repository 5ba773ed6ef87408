"""Axes of a section: distance below, time or depth on the left, the other one on the right."""

import math
from typing import List, Tuple

import numpy as np
from qgis.PyQt.QtCore import QPointF, QRectF, Qt
from qgis.PyQt.QtGui import QPainter

from ....processing.common.language import tr
from ...styles.ink import ink


def round_steps(low: float, high: float, count: float) -> List[float]:
    """Multiples of 1, 2 or 5 times a power of ten between two values, about `count` of them."""
    if not high > low:
        return []
    rough = (high - low) / max(count, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= rough * 0.999)
    first = math.ceil(low / step - 1e-9)
    return [step * number for number in range(first, math.floor(high / step + 1e-9) + 1)]


def label_of(value: float, steps: List[float]) -> str:
    """As many decimals as the steps need."""
    step = steps[1] - steps[0] if len(steps) > 1 else max(abs(value), 1.0)
    return f"{value:.{max(0, -math.floor(math.log10(step) + 1e-9))}f}"


class AxesPainter:
    """Draws the axes of `view` around its plot."""

    def __init__(self, painter: QPainter, view):
        self.painter, self.view, self.em = painter, view, view.em

    def draw(self) -> None:
        self.painter.setPen(ink(self.view.palette()))
        self.painter.setBrush(Qt.BrushStyle.NoBrush)
        self.painter.drawRect(self.view.plot)
        self._draw_distance()
        self._draw_left()
        if self.view.section.picture is not None:
            self._draw_right()

    def distance_ticks(self) -> List[Tuple[float, str]]:
        """Distances (m) and their labels."""
        shown, plot = self.view.shown, self.view.plot
        steps = round_steps(shown.left(), shown.right(), plot.width() / (5 * self.em))
        return [(step, label_of(step, steps)) for step in steps]

    def left_ticks(self) -> List[Tuple[float, str]]:
        """Times (ns) or depths (mm), as values of the vertical axis, and their labels."""
        shown = self.view.shown
        if self.view.in_depth:
            steps = round_steps(1000 * shown.top(), 1000 * shown.bottom(), self._rows)
            return [(0.001 * step, label_of(step, steps)) for step in steps]
        steps = round_steps(shown.top(), shown.bottom(), self._rows)
        return [(step, label_of(step, steps)) for step in steps]

    def right_ticks(self) -> List[Tuple[float, str]]:
        """The other scale: depths (mm) beside times, or times (ns) beside depths; places on the vertical axis, and labels."""
        shown, picture = self.view.shown, self.view.section.picture
        if self.view.in_depth:
            low, high = (float(picture.time_of_depth(max(depth, 0.0))) for depth in (shown.top(), shown.bottom()))
            steps = round_steps(low, high, self._rows)
            return [(float(self.view.section.depth_of_time(step)), label_of(step, steps)) for step in steps]
        low, high = (1000 * float(self.view.section.depth_of_time(time)) for time in (shown.top(), shown.bottom()))
        steps = round_steps(low, high, self._rows)
        places = np.atleast_1d(picture.time_of_depth(0.001 * np.array(steps)))
        return [(float(place), label_of(step, steps)) for place, step in zip(places, steps)]

    @property
    def _rows(self) -> float:
        return self.view.plot.height() / (1.6 * self.em)

    def _draw_distance(self) -> None:
        plot = self.view.plot
        for value, label in self.distance_ticks():
            x = self.view.point(value, self.view.shown.top()).x()
            self.painter.drawLine(QPointF(x, plot.bottom()), QPointF(x, plot.bottom() + 0.3 * self.em))
            box = QRectF(x - 3 * self.em, plot.bottom() + 0.3 * self.em, 6 * self.em, 1.1 * self.em)
            self.painter.drawText(box, Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop, label)
        box = QRectF(plot.left(), plot.bottom() + 1.3 * self.em, plot.width(), 1.2 * self.em)
        self.painter.drawText(box, Qt.AlignmentFlag.AlignCenter, tr("distance along the line (m)"))

    def _draw_left(self) -> None:
        plot = self.view.plot
        for value, label in self.left_ticks():
            y = self.view.point(0.0, value).y()
            self.painter.drawLine(QPointF(plot.left() - 0.3 * self.em, y), QPointF(plot.left(), y))
            box = QRectF(0, y - 0.6 * self.em, plot.left() - 0.4 * self.em, 1.2 * self.em)
            self.painter.drawText(box, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, label)
        self._draw_upright(0.7 * self.em, self.view.in_depth)

    def _draw_right(self) -> None:
        plot = self.view.plot
        for place, label in self.right_ticks():
            y = self.view.point(0.0, place).y()
            if not plot.top() <= y <= plot.bottom():
                continue
            self.painter.drawLine(QPointF(plot.right(), y), QPointF(plot.right() + 0.3 * self.em, y))
            box = QRectF(plot.right() + 0.4 * self.em, y - 0.6 * self.em, 4 * self.em, 1.2 * self.em)
            self.painter.drawText(box, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, label)
        self._draw_upright(self.view.width() - 0.7 * self.em, not self.view.in_depth)

    def _draw_upright(self, x: float, of_depth: bool) -> None:
        """What an axis shows, as long as there is room for."""
        text = tr("depth (mm)") if of_depth else tr("time after time zero (ns)")
        middle = self.view.plot.center().y()
        room = 2 * min(middle, self.view.height() - middle)  # the text stands in the middle of the plot
        if self.painter.fontMetrics().horizontalAdvance(text) > room:
            text = tr("mm") if of_depth else tr("ns")
        self.painter.save()
        self.painter.translate(x, middle)
        self.painter.rotate(-90)
        box = QRectF(-self.view.height() / 2, -0.6 * self.em, self.view.height(), 1.2 * self.em)
        self.painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)
        self.painter.restore()
