"""What stands in the survey panel: folders, the steps, buttons, progress and log. What they do is the panel's to say."""

from qgis.gui import QgsFileWidget
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtWidgets import (
    QDoubleSpinBox,
    QFormLayout,
    QHBoxLayout,
    QPlainTextEdit,
    QProgressBar,
    QSplitter,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from ....processing.common.language import tr
from ...help import help_button
from .steps import MARKS, StepTree

LOG_LINES = 2000


class SurveyControls(QWidget):
    """The widgets by name, from top to bottom."""

    def __init__(self):
        super().__init__()
        self.folder, self.result = _folder_chooser(), _folder_chooser()
        self.folder.setToolTip(tr("Folder with scan_areas.csv, scan_lines.csv, control_points.csv and the line files."))
        self.result.setToolTip(tr("Folder of the result: survey.gpkg, depth slices and report are written there."))
        self.set_up = _button(tr("Set up…"), tr("Make the tables of a survey from a grid and its line files."))
        self.look = _button(
            tr("Check for changes"), tr("See whether the survey folder has changed since the result was made.")
        )
        self.steps = StepTree()
        self.run_one = _button(tr("Run this step"), tr("Run the selected step."))
        self.run_rest = _button(tr("Run the rest"), tr("Run all steps that are not done or outdated, in order."))
        self.stop = _button(tr("Cancel"), tr("Stop the run; earlier results stay as they are."))
        self.progress = QProgressBar()
        self.progress.setToolTip(tr("Progress of the current step."))
        self.log = QPlainTextEdit()
        self.log.setReadOnly(True)
        self.log.setMaximumBlockCount(LOG_LINES)
        self.log.setPlaceholderText(tr("Messages of a run appear here."))
        self.log.setToolTip(tr("Messages of the steps while they run; '!' needs a look, '!!' was left out."))
        self.show_layers = _button(tr("Show on the map"), tr("Load the result as styled layers, or load it again."))
        self.show_solid = _button(tr("In 3-D"), tr("Items and slab surfaces as bodies, in a 3-D map view."))
        self.exaggeration = QDoubleSpinBox()
        self.exaggeration.setRange(1.0, 20.0)
        self.exaggeration.setDecimals(1)
        self.exaggeration.setPrefix("× ")
        self.exaggeration.setToolTip(tr("Vertical exaggeration in 3-D; 1 is true to scale."))
        self._arrange()

    def say(self, kind: str, sentence: str) -> None:
        """One line in the log: an error, a warning or a note."""
        self.log.appendPlainText(f"{MARKS.get(kind, '')}{sentence}")

    def _arrange(self) -> None:
        form = QFormLayout()
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        form.addRow(tr("Survey"), self.folder)
        form.addRow(tr("Result"), self.result)
        top = _row(self.set_up, self.look)
        top.addWidget(help_button("survey_panel"))
        lower = QWidget()
        below = QVBoxLayout(lower)
        below.setContentsMargins(0, 0, 0, 0)
        below.addLayout(_row(self.run_one, self.run_rest, self.stop))
        below.addWidget(self.progress)
        below.addWidget(self.log)
        below.addLayout(_row(self.show_layers, self.show_solid, self.exaggeration))
        splitter = QSplitter(Qt.Orientation.Vertical)
        splitter.addWidget(self.steps)
        splitter.addWidget(lower)
        splitter.setChildrenCollapsible(False)
        splitter.setStretchFactor(0, 3)
        splitter.setStretchFactor(1, 1)
        layout = QVBoxLayout(self)
        layout.addLayout(form)
        layout.addLayout(top)
        layout.addWidget(splitter, 1)
        # A log of four lines and a list of five steps stay readable, in any font.
        line = self.fontMetrics().lineSpacing()
        self.log.setMinimumHeight(4 * line)
        self.steps.setMinimumHeight(6 * line)


def _button(text: str, tip: str) -> QToolButton:
    button = QToolButton()
    button.setText(text)
    button.setToolTip(tip)
    return button


def _folder_chooser() -> QgsFileWidget:
    chooser = QgsFileWidget()
    chooser.setStorageMode(QgsFileWidget.StorageMode.GetDirectory)
    return chooser


def _row(*widgets) -> QHBoxLayout:
    row = QHBoxLayout()
    for widget in widgets:
        row.addWidget(widget)
    row.addStretch(1)
    return row
