"""The controls of the depth panel; what they do is the panel's."""

from qgis.PyQt.QtWidgets import QComboBox, QFormLayout, QHBoxLayout, QSpinBox, QStyle, QToolButton, QVBoxLayout, QWidget

from ....processing.common.language import tr
from ...help import help_button
from .scale import DepthScale

OTHERS = (("shown", tr("Shown")), ("faint", tr("Faint")), ("hidden", tr("Hidden")))


class DepthControls(QWidget):
    """Level, ruler, buttons to step and play, and what becomes of items at other depths."""

    def __init__(self, parent=None):
        super().__init__(parent)
        self.level = QComboBox()
        self.level.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.level.setMinimumContentsLength(10)
        self.level.setToolTip(tr("Level and side to look at; the groups of the others are switched off."))
        self.scale = DepthScale()
        self.scale.setToolTip(
            tr(
                "Depth shown. Drag, or use the wheel and the arrow keys. Bars: items at that depth. Hatched: deeper than reliable."
            )
        )
        self.scale.setAccessibleName(tr("Depth"))
        style = self.style()
        self.shallower = self._button(style.standardIcon(QStyle.StandardPixmap.SP_ArrowUp), tr("One slice shallower."))
        self.deeper = self._button(style.standardIcon(QStyle.StandardPixmap.SP_ArrowDown), tr("One slice deeper."))
        self.play = self._button(
            style.standardIcon(QStyle.StandardPixmap.SP_MediaPlay), tr("Play through all depths in a loop."), True
        )
        self.beside = self._button(None, tr("A second map of the same place at another depth."), True)
        self.beside.setText(tr("Second map"))
        self.margin = QSpinBox()
        self.margin.setRange(0, 500)
        self.margin.setSingleStep(5)
        self.margin.setPrefix("± ")
        self.margin.setSuffix(" mm")
        self.margin.setToolTip(tr("Items and picks this much above and below the slice still belong to it."))
        self.others = QComboBox()
        for key, text in OTHERS:
            self.others.addItem(text, key)
        self.others.setCurrentIndex(1)
        self.others.setToolTip(
            tr("How items and picks at other depths are drawn. Hidden ones are still there: hidden is not clear.")
        )
        buttons = QHBoxLayout()
        for button in (self.shallower, self.deeper, self.play, self.beside):
            buttons.addWidget(button)
        buttons.addStretch(1)
        buttons.addWidget(help_button("depth_panel"))
        form = QFormLayout()
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        form.addRow(tr("Items within"), self.margin)
        form.addRow(tr("At other depths"), self.others)
        box = QVBoxLayout(self)
        box.addWidget(self.level)
        box.addWidget(self.scale, 1)
        box.addLayout(buttons)
        box.addLayout(form)

    def _button(self, icon, tip: str, checkable: bool = False) -> QToolButton:
        button = QToolButton()
        button.setToolTip(tip)
        button.setAccessibleName(tip)
        button.setCheckable(checkable)
        if icon is not None:
            button.setIcon(icon)
        return button
