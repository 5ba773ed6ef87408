"""The controls of the record panel; what they do is the panel's."""

from qgis.gui import QgsDateEdit, QgsFileWidget
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtWidgets import (
    QComboBox,
    QDoubleSpinBox,
    QFormLayout,
    QHBoxLayout,
    QMenu,
    QPlainTextEdit,
    QSpinBox,
    QSplitter,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from ....processing.common.language import tr
from ...help import help_button
from .list import AnswerList

DATE_FORMAT = "yyyy-MM-dd"


class RecordControls(QWidget):
    """Which record, as known when; where; the answer in sentences and as a list; what is done with the record."""

    def __init__(self, parent=None):
        super().__init__(parent)
        self.record = QgsFileWidget()
        self.record.setStorageMode(QgsFileWidget.StorageMode.SaveFile)  # a record may be named that is still to be made
        self.record.setConfirmOverwrite(False)
        self.record.setDialogTitle(tr("Choose a record, or name a new one"))
        self.record.setFilter(tr("GeoPackage (*.gpkg)"))
        self.record.setToolTip(tr("The building's record: a GeoPackage, or postgres:NAME/SCHEMA for a database."))
        self.database = _button(tr("Database"), tr("Use a PostGIS connection of QGIS; the schema can then be changed."))
        self.database.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.database.setMenu(QMenu(self.database))
        self.level = QComboBox()
        self.level.setToolTip(tr("Level to ask about. For a wall, enter its name."))
        self.known_on = QgsDateEdit()
        self.known_on.setAllowNull(True)
        self.known_on.setNullRepresentation(tr("now"))
        self.known_on.setDisplayFormat(DATE_FORMAT)
        self.known_on.clear()
        self.known_on.setToolTip(
            tr("The answer is what the record knew at the end of this day; empty: what it knows now.")
        )
        self.depth = QSpinBox()
        self.depth.setRange(0, 5000)
        self.depth.setSingleStep(10)
        self.depth.setSuffix(" mm")
        self.depth.setSpecialValueText(tr("any depth"))
        self.depth.setToolTip(tr("Ground that was not seen down to this depth counts as unknown."))
        self.draw_area = _button(
            tr("Draw area"), tr("Click the corners on the map; a right click ends the area and asks about it."), True
        )
        self.draw_line = _button(
            tr("Draw line"), tr("Click the corners on the map; a right click ends the line and asks along it."), True
        )
        self.width = QDoubleSpinBox()
        self.width.setRange(0.01, 100.0)
        self.width.setSingleStep(0.1)
        self.width.setValue(0.2)
        self.width.setSuffix(" m")
        self.width.setToolTip(tr("Width of the strip along a line, both sides together."))
        self.selected = _button(
            tr("Selected"),
            tr("Ask about the polygon or line that is selected in the active layer, for example a room."),
        )
        self.view = _button(tr("Map view"), tr("Ask about what the map shows."))
        self.everything = _button(tr("Everything"), tr("Ask about whole levels."))
        self.again = _button(
            tr("Ask again"), tr("Ask about the same place, with the date, level and depth as they are.")
        )
        self.sentences = QPlainTextEdit()
        self.sentences.setReadOnly(True)
        self.sentences.setPlaceholderText(tr("Choose a record, then a place."))
        self.sentences.setToolTip(tr("What the record says of the place."))
        self.rows = AnswerList()
        self.verify = _button(tr("Verify…"), tr("Enter what an opening shows of the chosen item."))
        self.update_record = _button(tr("Update…"), tr("Merge the survey that the map shows into the record."))
        self._arrange()

    def _arrange(self) -> None:
        form = QFormLayout()
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        form.addRow(tr("Record"), self.record)
        form.addRow(tr("Level"), _row(self.level, self.database, stretch=True))
        form.addRow(tr("As known on"), self.known_on)
        form.addRow(tr("Seen down to"), self.depth)
        splitter = QSplitter(Qt.Orientation.Vertical)
        splitter.addWidget(self.sentences)
        splitter.addWidget(self.rows)
        splitter.setChildrenCollapsible(False)
        line = self.fontMetrics().lineSpacing()
        self.sentences.setMinimumHeight(5 * line)
        self.rows.setMinimumHeight(5 * line)
        box = QVBoxLayout(self)
        box.addLayout(form)
        box.addLayout(_row(self.draw_area, self.draw_line, self.width, stretch=True))
        box.addLayout(_row(self.selected, self.view, self.everything, self.again, stretch=True))
        box.addWidget(splitter, 1)
        below = _row(self.verify, self.update_record, stretch=True)
        below.addWidget(help_button("record_panel"))
        box.addLayout(below)

    def day(self) -> str:
        """The date asked for (ISO 8601); empty for now."""
        return "" if self.known_on.isNull() else self.known_on.date().toString(DATE_FORMAT)


def _button(text: str, tip: str, checkable: bool = False) -> QToolButton:
    button = QToolButton()
    button.setText(text)
    button.setToolTip(tip)
    button.setCheckable(checkable)
    return button


def _row(*widgets, stretch: bool = False) -> QHBoxLayout:
    row = QHBoxLayout()
    for widget in widgets:
        row.addWidget(widget)
    if stretch:
        row.addStretch(1)
    return row
