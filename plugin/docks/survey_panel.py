"""The survey panel: one survey, the steps of its chain, how each stands, and one click to run what is to be run."""

from pathlib import Path
from typing import List, Optional, Sequence

from qgis.core import QgsApplication, QgsProject, QgsTask
from qgis.gui import QgsDockWidget, QgsFileWidget
from qgis.PyQt.QtCore import QFileSystemWatcher, Qt, QTimer
from qgis.PyQt.QtWidgets import (
    QAbstractItemView,
    QDoubleSpinBox,
    QFormLayout,
    QHBoxLayout,
    QHeaderView,
    QMenu,
    QPlainTextEdit,
    QProgressBar,
    QSplitter,
    QToolButton,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from ...processing.chain import SURVEY_FILE
from ...processing.errors import InslabError
from ...processing.language import tr
from ...processing.monitor import Monitor
from ...processing.outputs.step_states import (
    PENETRATIONS,
    STEPS,
    StepState,
    read_states,
    steps_to_run,
)
from ...processing.outputs.stored import find_survey_folder
from ..background import quiet_flags
from ..help import help_button
from ..layers import show_result
from ..plain_text import as_html
from ..shown import shown_planes
from .survey_places import zoom_to_areas
from .survey_runs import BY_DIALOG, Run, SurveyRunner, can_run, planned_layer, run_of, runs_of
from .survey_signs import RUNNING, WORDS, StepTree, sign

SCOPE = "inslab"  # of what is kept in a project
STEP_ROLE, FINDING_ROLE = Qt.ItemDataRole.UserRole, Qt.ItemDataRole.UserRole + 1
LOG_LINES = 2000
SOON_MS = 300
MARKS = {"error": "!! ", "warning": "! ", "note": ""}


def make(desk) -> "SurveyPanel":
    """The panel of the registry."""
    return SurveyPanel(desk)


class SurveyPanel(QgsDockWidget):
    """Folder and result of a survey, its steps with their states and findings, and the log of what runs."""

    AREA = Qt.DockWidgetArea.RightDockWidgetArea

    def __init__(self, desk):
        super().__init__(desk.iface.mainWindow())
        self.desk, self.iface, self.project = desk, desk.iface, QgsProject.instance()
        self.states: List[StepState] = []
        self.runner = SurveyRunner(self)
        self._remembered = {}
        self._look: Optional[QgsTask] = None
        self._look_again = False
        self._running_step = ""
        self._build()
        self._soon = QTimer(self)
        self._soon.setSingleShot(True)
        self._soon.setInterval(SOON_MS)
        self._soon.timeout.connect(self.refresh)
        self._watcher = QFileSystemWatcher(self)
        self._watcher.fileChanged.connect(lambda _: self._soon.start())
        self._watcher.directoryChanged.connect(lambda _: self._soon.start())
        self._connect()
        self._from_project()

    # What the user sees

    def _build(self) -> None:
        self.folder, self.result = _folder_chooser(), _folder_chooser()
        self.folder.setToolTip(tr("Folder with scan_areas.csv, scan_lines.csv, control_points.csv and the line files."))
        self.result.setToolTip(tr("Folder of the result: survey.gpkg, depth slices and report are written there."))
        self.set_up = _button(tr("Set up…"), tr("Make the tables of a survey from a grid and its line files."))
        self.look = _button(tr("Look again"), tr("Compare the survey folder with what the result was made from."))
        self.show_layers = _button(tr("Show on the map"), tr("Load the result as styled layers, or load it again."))
        self.show_solid = _button(tr("In 3-D"), tr("Items and slab surfaces as bodies, in a view of its own."))
        self.exaggeration = QDoubleSpinBox()
        self.exaggeration.setRange(1.0, 20.0)
        self.exaggeration.setDecimals(1)
        self.exaggeration.setPrefix("× ")
        self.exaggeration.setToolTip(tr("How many times heights are drawn in 3-D; 1 is true."))
        self.steps = StepTree()
        self.steps.setHeaderLabels([tr("Step"), tr("State")])
        self.steps.setToolTip(tr("The steps in order. Open one for what it noticed; click a finding to see its area."))
        self.steps.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.steps.setAlternatingRowColors(True)
        self.steps.setContextMenuPolicy(Qt.ContextMenuPolicy.CustomContextMenu)
        header = self.steps.header()
        header.setStretchLastSection(False)
        header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        header.setSectionResizeMode(1, QHeaderView.ResizeMode.ResizeToContents)
        self.run_one = _button(tr("Run this step"), tr("Run the step that is chosen above."))
        self.run_rest = _button(tr("Run the rest"), tr("Run all steps that are not done or outdated, in order."))
        self.stop = _button(tr("Cancel"), tr("Stop the run; earlier results stay as they are."))
        self.progress = QProgressBar()
        self.progress.setToolTip(tr("How far the present step is."))
        self.log = QPlainTextEdit()
        self.log.setReadOnly(True)
        self.log.setMaximumBlockCount(LOG_LINES)
        self.log.setPlaceholderText(tr("What a run says appears here."))
        self.log.setToolTip(tr("What the steps say while they run; '!' needs a look, '!!' was left out."))

        form = QFormLayout()
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        form.addRow(tr("Survey"), self.folder)
        form.addRow(tr("Result"), self.result)
        lower = QWidget()
        below = QVBoxLayout(lower)
        below.setContentsMargins(0, 0, 0, 0)
        below.addLayout(_row(self.run_one, self.run_rest, self.stop))
        below.addWidget(self.progress)
        below.addWidget(self.log)
        below.addLayout(_row(self.show_layers, self.show_solid, self.exaggeration))
        self.splitter = QSplitter(Qt.Orientation.Vertical)
        self.splitter.addWidget(self.steps)
        self.splitter.addWidget(lower)
        self.splitter.setChildrenCollapsible(False)
        self.splitter.setStretchFactor(0, 3)
        self.splitter.setStretchFactor(1, 1)
        inside = QWidget()
        layout = QVBoxLayout(inside)
        layout.addLayout(form)
        top = _row(self.set_up, self.look)
        top.addWidget(help_button("survey_panel"))
        layout.addLayout(top)
        layout.addWidget(self.splitter, 1)
        self.setWidget(inside)
        # A log of four lines and a list of five steps stay readable, in any font.
        line = self.fontMetrics().lineSpacing()
        self.log.setMinimumHeight(4 * line)
        self.steps.setMinimumHeight(6 * line)

    def _connect(self) -> None:
        self.folder.fileChanged.connect(self._chosen)
        self.result.fileChanged.connect(self._chosen)
        self.set_up.clicked.connect(self.open_set_up)
        self.look.clicked.connect(self.refresh)
        self.show_layers.clicked.connect(self.show_on_map)
        self.show_solid.clicked.connect(self.show_in_3d)
        self.run_one.clicked.connect(self.run_chosen)
        self.run_rest.clicked.connect(self.run_what_is_left)
        self.stop.clicked.connect(self.runner.cancel)
        self.steps.itemSelectionChanged.connect(self._enable)
        self.steps.itemClicked.connect(self._clicked)
        self.steps.customContextMenuRequested.connect(self._open_menu)
        self.runner.said.connect(self.say)
        self.runner.progressed.connect(lambda percent: self.progress.setValue(round(percent)))
        self.runner.started.connect(self._started)
        self.runner.stepped.connect(self._stepped)
        self.runner.finished.connect(self._finished)
        self.project.readProject.connect(self._from_project)
        self.visibilityChanged.connect(lambda visible: visible and self._soon.start())

    # Which survey

    @property
    def survey_path(self) -> Optional[Path]:
        """survey.gpkg of the result, whether it is there or not; None where no result was chosen."""
        text = self.result.filePath().strip()
        if not text:
            return None
        path = Path(text)
        return path if path.suffix.lower() == ".gpkg" else path / SURVEY_FILE

    def open_survey(self, folder="", result="") -> None:
        """Show another survey: its folder, the folder (or survey.gpkg) of its result, or both."""
        for chooser, value in ((self.folder, folder), (self.result, result)):
            chooser.blockSignals(True)
            chooser.setFilePath(str(value))
            chooser.blockSignals(False)
        self._chosen()

    def _chosen(self, *_) -> None:
        """Fill in what the one choice says of the other, keep both in the project, and look at the survey."""
        folder, survey = self.folder.filePath().strip(), self.survey_path
        if survey is not None and survey.is_file() and not folder:
            try:
                self._fill(self.folder, find_survey_folder(survey))
            except InslabError as error:
                self.say("error", str(error))
        elif folder and survey is None:
            self._fill(self.result, Path(folder).with_name(f"{Path(folder).name}-result"))
        self.project.writeEntry(SCOPE, "survey_folder", self.folder.filePath())
        self.project.writeEntry(SCOPE, "result", self.result.filePath())
        self._remembered.clear()
        self.refresh()

    def _fill(self, chooser, path) -> None:
        chooser.blockSignals(True)
        chooser.setFilePath(str(path))
        chooser.blockSignals(False)

    def _from_project(self, *_) -> None:
        """The survey that the project was used with; without one, that of the layers it shows."""
        folder, result = (self.project.readEntry(SCOPE, name, "")[0] for name in ("survey_folder", "result"))
        if not result:
            shown = next((plane.survey_path for plane in shown_planes(self.project) if plane.survey_path), "")
            result = str(Path(shown).parent) if shown else ""
        if folder or result:
            self.open_survey(folder, result)
        else:
            self.refresh()

    # How it stands

    def refresh(self) -> None:
        """Find out how each step stands, in the background: large surveys take a while to be compared."""
        survey = self.survey_path
        if survey is None:
            self._show([])
            return
        if self._look is not None:
            self._look_again = True
            return
        folder, remembered = self.folder.filePath().strip(), self._remembered

        def look(task) -> List[StepState]:
            return read_states(survey, folder, remembered, Monitor(cancelled=task.isCanceled))

        self._look = QgsTask.fromFunction(tr("Look at the survey"), look, on_finished=self._looked, flags=quiet_flags())
        QgsApplication.taskManager().addTask(self._look)

    @property
    def is_looking(self) -> bool:
        return self._look is not None

    def _looked(self, error, states=None) -> None:
        look, self._look = self._look, None
        if look is None or look.isCanceled():
            return
        if error is not None:
            known = isinstance(error, InslabError)
            self.say("error", str(error) if known else tr("The survey cannot be looked at: {reason}", reason=error))
        self._show(states or [])
        self._watch()
        if self._look_again:
            self._look_again = False
            self.refresh()

    def _watch(self) -> None:
        """Hear of changes in the survey folder and in the result."""
        old = [*self._watcher.files(), *self._watcher.directories()]
        if old:
            self._watcher.removePaths(old)
        folder, survey = self.folder.filePath().strip(), self.survey_path
        paths = [*([Path(folder), *Path(folder).glob("*.csv")] if folder else []), *([survey] if survey else [])]
        there = [str(path) for path in paths if path.exists()]
        if there:
            self._watcher.addPaths(there)

    def _show(self, states: List[StepState]) -> None:
        self.states = states
        chosen = self._chosen_step()
        entries = [self.steps.topLevelItem(number) for number in range(self.steps.topLevelItemCount())]
        opened = {entry.data(0, STEP_ROLE) for entry in entries if entry.isExpanded()}
        self.steps.clear()
        for one in states:
            entry = QTreeWidgetItem([one.title, self._word(one)])
            entry.setData(0, STEP_ROLE, one.step.name)
            running = one.title == self._running_step
            side = self.fontMetrics().height()
            entry.setIcon(0, sign(RUNNING if running else one.state, side, self.palette(), self.devicePixelRatioF()))
            entry.setToolTip(1, as_html("\n".join(one.reasons)))
            for sentence in one.reasons:
                self._add_below(entry, sentence)
            for finding in one.findings:
                below = self._add_below(entry, f"{MARKS[finding.severity]}{finding.where}: {finding.text}")
                below.setData(0, FINDING_ROLE, finding)
            self.steps.addTopLevelItem(entry)
            for number in range(entry.childCount()):
                entry.child(number).setFirstColumnSpanned(True)
            entry.setExpanded(one.step.name in opened)
            entry.setSelected(one.step.name == chosen)
        self._enable()

    def _word(self, one: StepState) -> str:
        if one.title == self._running_step:
            return WORDS[RUNNING]
        count = sum(finding.severity != "note" for finding in one.findings)
        return WORDS[one.state].format(count=count)

    def _add_below(self, entry: QTreeWidgetItem, text: str) -> QTreeWidgetItem:
        below = QTreeWidgetItem([text])
        below.setToolTip(0, as_html(text))
        entry.addChild(below)
        return below

    def _chosen_step(self) -> str:
        for item in self.steps.selectedItems():
            return (item.parent() or item).data(0, STEP_ROLE)
        return ""

    def _enable(self) -> None:
        running, survey = self.runner.is_running, self.survey_path
        step = self._chosen_step()
        self.run_one.setEnabled(not running and bool(step) and can_run(step))
        self.run_rest.setEnabled(not running and bool(self._runs_left()))
        self.stop.setEnabled(running)
        self.progress.setVisible(running)
        there = survey is not None and survey.is_file()
        self.show_layers.setEnabled(there)
        self.show_solid.setEnabled(there)
        self.exaggeration.setEnabled(there)
        self.folder.setEnabled(not running)
        self.result.setEnabled(not running)

    # What it does

    def run_chosen(self) -> None:
        """Run the step that is chosen; where more must be said first, open its dialog."""
        step = self._chosen_step()
        run = run_of(step, self.folder.filePath(), self.survey_path)
        if step in BY_DIALOG:
            planned = planned_layer(self.project) if step == PENETRATIONS else None
            if planned is not None:
                run.parameters["PENETRATIONS"] = planned.id()
            self._open_dialog(run)
        else:
            self._start([run])

    def run_what_is_left(self) -> None:
        """Run all steps that are not done or outdated."""
        self._start(self._runs_left())

    def _runs_left(self) -> List[Run]:
        if not self.states:
            return []
        return runs_of(steps_to_run(self.states), self.folder.filePath(), self.survey_path)

    def _start(self, runs: Sequence[Run]) -> None:
        for sentence in self.runner.start(runs):
            self.say("error", sentence)

    def _open_dialog(self, run) -> None:
        from qgis import processing

        self._dialog = processing.createAlgorithmDialog(run.algorithm, run.parameters)
        self._dialog.algorithmFinished.connect(lambda *_: self._soon.start())
        self._dialog.show()

    def _open_menu(self, point) -> None:
        step = self._chosen_step()
        if not step or not can_run(step):
            return
        menu = QMenu(self.steps)
        menu.addAction(tr("Run this step"), self.run_chosen).setEnabled(self.run_one.isEnabled())
        run = run_of(step, self.folder.filePath(), self.survey_path)
        menu.addAction(tr("Run with other settings…"), lambda: self._open_dialog(run))
        menu.exec(self.steps.viewport().mapToGlobal(point))

    def open_set_up(self) -> None:
        """The form that makes the tables of a survey."""
        from ..setup.form import SetUpForm

        self._form = SetUpForm(self.iface.mainWindow(), self.iface.mapCanvas())
        self._form.folder.setFilePath(self.folder.filePath())
        self._form.written.connect(self._set_up)
        self._form.show()

    def _set_up(self, folder: str, read_now: bool) -> None:
        same = bool(self.folder.filePath()) and Path(folder) == Path(self.folder.filePath())
        self.open_survey(folder, self.result.filePath() if same else "")
        if read_now:
            self._start([run_of(STEPS[0].name, folder, self.survey_path)])

    def show_on_map(self) -> None:
        """Load the result as styled layers, or load it again."""
        try:
            show_result(self.project, self.survey_path)
        except InslabError as error:
            self.say("error", str(error))

    def show_in_3d(self) -> None:
        """Items and slab surfaces as bodies, in a view of its own."""
        from ..view3d import open_view

        try:
            for sentence in open_view(self.iface, self.project, self.survey_path, self.exaggeration.value()):
                self.say("note", sentence)
        except InslabError as error:
            self.say("error", str(error))

    def _clicked(self, item: QTreeWidgetItem, _column: int) -> None:
        finding = item.data(0, FINDING_ROLE)
        if finding is None:
            return
        sentence = zoom_to_areas(self.iface.mapCanvas(), self.survey_path, finding)
        if sentence:
            self.iface.messageBar().pushInfo("Inslab", as_html(sentence))

    def say(self, kind: str, sentence: str) -> None:
        """One line in the log."""
        self.log.appendPlainText(f"{MARKS.get(kind, '')}{sentence}")

    def _started(self, title: str) -> None:
        self._running_step = title
        self.say("note", f"{title} …")
        self._show(self.states)

    def _stepped(self) -> None:
        self.show_on_map()

    def _finished(self, succeeded: bool) -> None:
        self._running_step = ""
        self.say("note", tr("Done.") if succeeded else tr("Not finished."))
        self._enable()
        self.refresh()

    def close_down(self) -> None:
        """Before the panel goes: nothing of ours may call it afterwards."""
        self._soon.stop()
        if self._look is not None:
            self._look.cancel()
        self.runner.close()
        self.project.readProject.disconnect(self._from_project)
        for window in (getattr(self, "_form", None), getattr(self, "_dialog", None)):
            if window is not None:
                window.close()


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


def show_step_open(panel: SurveyPanel, step: str) -> None:
    """Choose a step and open what it noticed; for pictures and tests."""
    for number in range(panel.steps.topLevelItemCount()):
        item = panel.steps.topLevelItem(number)
        item.setExpanded(item.data(0, STEP_ROLE) == step)
        item.setSelected(item.data(0, STEP_ROLE) == step)
