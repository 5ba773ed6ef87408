"""The row of the section panel that tests a wave speed with a curve: the speed, and the area's estimate beside it."""

from dataclasses import replace
from typing import Optional

from qgis.PyQt.QtCore import pyqtSignal
from qgis.PyQt.QtWidgets import QDoubleSpinBox, QHBoxLayout, QLabel, QSizePolicy, QWidget

from ....processing.common.language import tr
from ....processing.views.section import Section
from ....processing.views.travel_curve import FASTEST_M_NS, SLOWEST_M_NS, TravelCurve
from ...plain_text import plain_label


class SpeedRow(QWidget):
    """Shows and changes the speed of a `TravelCurve`; `changed` tells the new curve."""

    changed = pyqtSignal()

    def __init__(self, parent=None):
        super().__init__(parent)
        self.curve: Optional[TravelCurve] = None
        self._section: Optional[Section] = None
        self.speed = QDoubleSpinBox()
        self.speed.setRange(SLOWEST_M_NS, FASTEST_M_NS)
        self.speed.setDecimals(4)
        self.speed.setSingleStep(0.0005)
        self.speed.setSuffix(" m/ns")
        self.speed.setToolTip(
            tr("Wave speed of the curve. Drag the curve's apex onto an echo's top, then its flank onto the echo.")
        )
        self.words = plain_label()
        self.words.setToolTip(
            tr(
                "What the curve implies, and the estimate of the area's wave speed with 1-sigma and, in brackets, "
                "its permittivity."
            )
        )
        self.words.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(QLabel(tr("Wave speed")))
        row.addWidget(self.speed)
        row.addWidget(self.words, 1)
        self.speed.valueChanged.connect(self._typed)

    def start(self, section: Section, distance_m: float) -> TravelCurve:
        """A curve at a place of the section, at the estimated speed and a depth that is often right."""
        picture = section.picture
        apex = float(picture.time_of_depth(min(0.06, 0.5 * picture.deepest_m)))
        curve = TravelCurve(distance_m, apex, picture.speed_m_ns, picture.separation_m, picture.line.dipole_axis)
        self.show_curve(section, curve)
        return curve

    def show_curve(self, section: Section, curve: TravelCurve) -> None:
        """The numbers of a curve that was dragged."""
        self._section, self.curve = section, curve
        self.speed.blockSignals(True)
        self.speed.setValue(curve.speed_m_ns)
        self.speed.blockSignals(False)
        self.words.setText(self.text())

    def text(self) -> str:
        """The curve beside the estimate, in words."""
        estimate, curve = self._section.speed, self.curve
        sigmas = (curve.speed_m_ns - estimate.speed_m_ns) / estimate.sigma_m_ns if estimate.sigma_m_ns else float("inf")
        return tr(
            "relative permittivity {permittivity:.2f}, top at {depth:.0f} mm. Estimate: {speed:.4f} ± {sigma:.4f} "
            "m/ns ({estimated:.2f}); the test differs from it by {sigmas:+.1f} sigma.",
            permittivity=curve.relative_permittivity,
            depth=1000 * curve.depth_m,
            speed=estimate.speed_m_ns,
            sigma=estimate.sigma_m_ns,
            estimated=estimate.relative_permittivity,
            sigmas=sigmas,
        )

    def _typed(self, speed: float) -> None:
        if self.curve is not None:
            self.show_curve(self._section, replace(self.curve, speed_m_ns=speed))
            self.changed.emit()
