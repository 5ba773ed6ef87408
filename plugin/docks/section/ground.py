"""What lies below marks and cursor of a section: picture, hatching and axes, drawn once for the part that is looked at."""

from typing import Optional, Tuple

from qgis.PyQt.QtCore import QRectF, Qt
from qgis.PyQt.QtGui import QBrush, QColor, QPainter, QPixmap

from .axes import AxesPainter
from .marks import MarkPainter


class SectionGround:
    """Keeps what was last drawn of `view`: cursor and marks move far more often than what is below them."""

    def __init__(self, view):
        self.view = view
        self._drawn: Optional[Tuple] = None  # what it was drawn for, and the pixmap

    def pixmap(self) -> QPixmap:
        """As large as the view, in pixels of its screen."""
        view = self.view
        scale = view.devicePixelRatioF()
        key = (view.picture, QRectF(view.shown), view.size(), scale, view.palette().cacheKey(), view.font().key())
        if self._drawn is None or self._drawn[0] != key:
            ground = QPixmap(view.size() * scale)
            ground.setDevicePixelRatio(scale)
            ground.fill(Qt.GlobalColor.transparent)
            painter = QPainter(ground)
            painter.setFont(view.font())
            self._draw(painter)
            painter.end()
            self._drawn = (key, ground)
        return self._drawn[1]

    def _draw(self, painter: QPainter) -> None:
        view, plot = self.view, self.view.plot
        painter.fillRect(plot, QColor("#ffffff"))
        if view.section.picture is None or not view.picture.extent.contains(view.shown):
            painter.fillRect(plot, QBrush(QColor("#808080"), Qt.BrushStyle.DiagCrossPattern))  # where there are no data
        painter.save()
        painter.setClipRect(plot)
        self._draw_image(painter)
        MarkPainter(painter, view).draw_unreliable(view.section.reliable_at_m, view.section.reliable_m)
        painter.restore()
        AxesPainter(painter, view).draw()

    def _draw_image(self, painter: QPainter) -> None:
        view, image, extent = self.view, self.view.picture.image, self.view.picture.extent
        part = view.shown.intersected(extent)
        if part.isEmpty():
            return
        across, down = image.width() / extent.width(), image.height() / extent.height()
        source = QRectF(
            (part.left() - extent.left()) * across,
            (part.top() - extent.top()) * down,
            part.width() * across,
            part.height() * down,
        )
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, view.section.picture is not None)
        corners = view.point(part.left(), part.top()), view.point(part.right(), part.bottom())
        painter.drawImage(QRectF(*corners), image, source)
