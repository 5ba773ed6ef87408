"""The survey panel: one survey, the steps of its chain, how each stands, and one click to run what is to be run."""

from pathlib import Path
from typing import List, Optional, Sequence

from qgis.core import QgsProject
from qgis.gui import QgsDockWidget
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtWidgets import QMenu, QTreeWidgetItem

from ....processing.common.errors import InslabError
from ....processing.common.language import tr
from ....processing.common.vocabulary.steps import READ_SURVEY
from ....processing.steps.shared.survey_run import SURVEY_FILE
from ....processing.steps.shared.survey_state import StepState, steps_to_run
from ....processing.store.reading import find_survey_folder
from ...plain_text import as_html
from ...project.layers import show_result
from ...project.shown import shown_planes
from .controls import SurveyControls
from .look import SurveyLook
from .places import zoom_to_areas
from .runs import BY_DIALOG, Run, SurveyRunner, can_run, holes_for, run_of, runs_of
from .steps import FINDING_ROLE

SCOPE = "inslab"  # of what is kept in a project


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
        self.runner, self.look = SurveyRunner(self), SurveyLook(self)
        self._running_step = ""
        self.controls = SurveyControls()
        self.setWidget(self.controls)
        self._connect()
        self._from_project()

    def _connect(self) -> None:
        self.controls.folder.fileChanged.connect(self._chosen)
        self.controls.result.fileChanged.connect(self._chosen)
        self.controls.set_up.clicked.connect(self.open_set_up)
        self.controls.look.clicked.connect(self.refresh)
        self.controls.show_layers.clicked.connect(self.show_on_map)
        self.controls.show_solid.clicked.connect(self.show_in_3d)
        self.controls.run_one.clicked.connect(self.run_chosen)
        self.controls.run_rest.clicked.connect(self.run_what_is_left)
        self.controls.stop.clicked.connect(self.runner.cancel)
        self.controls.steps.itemSelectionChanged.connect(self._enable)
        self.controls.steps.itemClicked.connect(self._clicked)
        self.controls.steps.customContextMenuRequested.connect(self._open_menu)
        self.look.found.connect(self._show)
        self.look.failed.connect(lambda sentence: self.say("error", sentence))
        self.runner.said.connect(self.say)
        self.runner.progressed.connect(lambda percent: self.controls.progress.setValue(round(percent)))
        self.runner.started.connect(self._started)
        self.runner.stepped.connect(self._stepped)
        self.runner.finished.connect(self._finished)
        self.project.readProject.connect(self._from_project)
        self.visibilityChanged.connect(lambda visible: visible and self.look.soon())

    # Which survey

    @property
    def survey_path(self) -> Optional[Path]:
        """survey.gpkg of the result, whether it is there or not; None where no result was chosen."""
        text = self.controls.result.filePath().strip()
        if not text:
            return None
        path = Path(text)
        return path if path.suffix.lower() == ".gpkg" else path / SURVEY_FILE

    def open_survey(self, folder="", result="") -> None:
        """Show another survey: its folder, the folder (or survey.gpkg) of its result, or both."""
        self._fill(self.controls.folder, folder)
        self._fill(self.controls.result, result)
        self._chosen()

    def _chosen(self, *_) -> None:
        """Fill in what the one choice says of the other, keep both in the project, and look at the survey."""
        folder, survey = self.controls.folder.filePath().strip(), self.survey_path
        if survey is not None and survey.is_file() and not folder:
            try:
                self._fill(self.controls.folder, find_survey_folder(survey))
            except InslabError as error:
                self.say("error", str(error))
        elif folder and survey is None:
            self._fill(self.controls.result, Path(folder).with_name(f"{Path(folder).name}-result"))
        self.project.writeEntry(SCOPE, "survey_folder", self.controls.folder.filePath())
        self.project.writeEntry(SCOPE, "result", self.controls.result.filePath())
        self.look.at(self.controls.folder.filePath().strip(), self.survey_path)

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
        """Find out how each step stands."""
        self.look.now()

    @property
    def is_looking(self) -> bool:
        return self.look.is_looking

    def _show(self, states: List[StepState]) -> None:
        self.states = states
        self.controls.steps.show_states(states, self._running_step)
        self._enable()

    def _enable(self) -> None:
        controls, survey = self.controls, self.survey_path
        running, step = self.runner.is_running, controls.steps.chosen_step()
        controls.run_one.setEnabled(not running and bool(step) and can_run(step))
        controls.run_rest.setEnabled(not running and bool(self._runs_left()))
        controls.stop.setEnabled(running)
        controls.progress.setVisible(running)
        for of_result in (controls.show_layers, controls.show_solid, controls.exaggeration):
            of_result.setEnabled(survey is not None and survey.is_file())
        for chooser in (controls.folder, controls.result):
            chooser.setEnabled(not running)

    # What it does

    def run_chosen(self) -> None:
        """Run the step that is chosen; where more must be said first, open its dialog."""
        step = self.controls.steps.chosen_step()
        run = run_of(step, self.controls.folder.filePath(), self.survey_path)
        if step in BY_DIALOG:
            holes = holes_for(step, self.project)
            if holes is not None:
                run.parameters["PENETRATIONS"] = holes.id()
            self._open_dialog(run)
        else:
            self._start([run])

    def run_what_is_left(self) -> None:
        """Run all steps that are not done or outdated."""
        self._start(self._runs_left())

    def _runs_left(self) -> List[Run]:
        if not self.states:
            return []
        return runs_of(steps_to_run(self.states), self.controls.folder.filePath(), self.survey_path)

    def _start(self, runs: Sequence[Run]) -> None:
        for sentence in self.runner.start(runs):
            self.say("error", sentence)

    def _open_dialog(self, run) -> None:
        from qgis import processing

        self._dialog = processing.createAlgorithmDialog(run.algorithm, run.parameters)
        self._dialog.algorithmFinished.connect(lambda *_: self.look.soon())
        self._dialog.show()

    def _open_menu(self, point) -> None:
        step = self.controls.steps.chosen_step()
        if not step or not can_run(step):
            return
        menu = QMenu(self.controls.steps)
        menu.addAction(tr("Run this step"), self.run_chosen).setEnabled(self.controls.run_one.isEnabled())
        run = run_of(step, self.controls.folder.filePath(), self.survey_path)
        menu.addAction(tr("Run with other settings…"), lambda: self._open_dialog(run))
        menu.exec(self.controls.steps.viewport().mapToGlobal(point))

    def open_set_up(self) -> None:
        """The form that makes the tables of a survey."""
        from ...setup.form import SetUpForm

        self._form = SetUpForm(self.iface.mainWindow(), self.iface.mapCanvas())
        self._form.folder.setFilePath(self.controls.folder.filePath())
        self._form.written.connect(self._set_up)
        self._form.show()

    def _set_up(self, folder: str, read_now: bool) -> None:
        same = bool(self.controls.folder.filePath()) and Path(folder) == Path(self.controls.folder.filePath())
        self.open_survey(folder, self.controls.result.filePath() if same else "")
        if read_now:
            self._start([run_of(READ_SURVEY, folder, self.survey_path)])

    def show_on_map(self) -> None:
        """Load the result as styled layers, or load it again."""
        try:
            show_result(self.project, self.survey_path)
        except InslabError as error:
            self.say("error", str(error))

    def show_in_3d(self) -> None:
        """Items and slab surfaces as bodies, in a 3-D map view."""
        from ...view3d.show import open_view

        try:
            for sentence in open_view(self.iface, self.project, self.survey_path, self.controls.exaggeration.value()):
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
        self.controls.say(kind, sentence)

    def _started(self, step: str, title: str) -> None:
        self._running_step = step
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
        self.look.close()
        self.runner.close()
        self.project.readProject.disconnect(self._from_project)
        for window in (getattr(self, "_form", None), getattr(self, "_dialog", None)):
            if window is not None:
                window.close()
