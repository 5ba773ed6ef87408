"""The toolbar of the section panel; too narrow, it folds its last buttons away behind an arrow."""

from qgis.core import QgsApplication
from qgis.PyQt.QtCore import QSize, Qt, pyqtSignal
from qgis.PyQt.QtWidgets import QAction, QComboBox, QToolBar

from ....processing.common.language import tr
from ....processing.views.radargrams import PANELS
from ....processing.views.section import Section
from ...help import help_button

PANEL_NAMES = {"raw": tr("As recorded"), "processed": tr("Processed"), "migrated": tr("Migrated")}
AXIS_NAMES = {"across": tr("Dipoles across"), "along": tr("Dipoles along")}


class SectionBar(QToolBar):
    """Only buttons and lists; the panel does what they say."""

    panelChosen = pyqtSignal(int)
    axisChosen = pyqtSignal(str)

    def __init__(self, parent=None):
        super().__init__(parent)
        self.setIconSize(QSize(self.fontMetrics().height(), self.fontMetrics().height()))
        self.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        self.choose = self._button(tr("Choose line"), tr("Click a scan line on the map to see its radargram."), True)
        self.draw = self._button(
            tr("Draw section"),
            tr("Click two or more places on the map; a right click ends the line and cuts the slices."),
            True,
        )
        self.selected = self._button(
            tr("Selected"),
            tr(
                "Show the pick, item or scan line that is selected on the map or in a table, in the radargram that shows it best."
            ),
        )
        self.addSeparator()
        self.panels = self._list(
            tr("The traces as recorded; processed; or migrated, which puts echoes back where they come from.")
        )
        self.axes = self._list(tr("Which way the dipoles lay: across or along the direction of travel."))
        for name in PANELS:
            self.panels.addItem(PANEL_NAMES[name])
        for axis, name in AXIS_NAMES.items():
            self.axes.addItem(name, axis)
        for box in (self.panels, self.axes):  # a toolbar does not notice when a list gets longer names
            box.setMinimumWidth(box.sizeHint().width())
        self.panels.setCurrentIndex(1)
        self.addSeparator()
        self.test = self._button(
            tr("Test speed"), tr("Lay a travel-time curve over an echo to test the wave speed."), True
        )
        self.addSeparator()
        self.edit = self._button(
            tr("Edit picks"),
            tr("A click adds a pick, dragging one moves it. Changes stay in QGIS's undo list until saved."),
            True,
        )
        self.delete = self._button("", tr("Delete the selected pick (Del)."), icon="/mActionDeleteSelected.svg")
        self.undo = self._button("", tr("Undo the last change to the picks."), icon="/mActionUndo.svg")
        self.redo = self._button("", tr("Redo the change that was undone last."), icon="/mActionRedo.svg")
        self.save = self._button("", tr("Save the picks and stop editing."), icon="/mActionSaveEdits.svg")
        self.whole = self._button(
            "",
            tr(
                "Show the whole section. The wheel zooms (Ctrl: along the line only, Shift: in depth only), dragging "
                "pans, Page Up and Page Down go to the neighbouring line."
            ),
            icon="/mActionZoomFullExtent.svg",
        )
        self.addWidget(help_button("section_panel"))
        self.panels.currentIndexChanged.connect(self.panelChosen.emit)
        self.axes.currentIndexChanged.connect(lambda _index: self.axisChosen.emit(self.axes.currentData() or ""))
        self._follow(None)
        self.show_editing(None, False)

    @property
    def panel_number(self) -> int:
        return self.panels.currentIndex()

    def choose_panel(self, number: int) -> None:
        self.panels.setCurrentIndex(number)

    def show_section(self, section: Section, axes) -> None:
        """Offer what there is of this section."""
        self._follow(section)
        self.axes.blockSignals(True)
        self.axes.clear()
        for axis in axes:
            self.axes.addItem(AXIS_NAMES.get(axis, axis), axis)
        if section.line is not None:
            self.axes.setCurrentIndex(self.axes.findData(section.line.dipole_axis))
        self.axes.blockSignals(False)

    def show_editing(self, layer, possible: bool) -> None:
        """What can be done with the picks now."""
        stack = layer.undoStack() if layer is not None else None
        editing = layer is not None and layer.isEditable()
        self.edit.setEnabled(layer is not None and possible)
        self.delete.setEnabled(layer is not None and possible and layer.selectedFeatureCount() > 0)
        self.undo.setEnabled(editing and stack.canUndo())
        self.redo.setEnabled(editing and stack.canRedo())
        self.save.setEnabled(editing)

    def _follow(self, section) -> None:
        is_line = section is not None and section.line is not None
        self.panels.setEnabled(is_line)
        self.axes.setEnabled(is_line)
        self.test.setEnabled(is_line)
        self.whole.setEnabled(section is not None)

    def _button(self, text: str, tip: str, checkable: bool = False, icon: str = "") -> QAction:
        action = QAction(text, self)
        if icon:
            action.setIcon(QgsApplication.getThemeIcon(icon))
            action.setIconText("")
        action.setToolTip(tip)
        action.setCheckable(checkable)
        self.addAction(action)
        return action

    def _list(self, tip: str) -> QComboBox:
        box = QComboBox()
        box.setToolTip(tip)
        box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)
        self.addWidget(box)
        return box
