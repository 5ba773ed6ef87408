"""The record panel: what a building's record knows of a place on the map, as known on any date, and what nobody has scanned."""

from dataclasses import dataclass
from pathlib import Path
from typing import List, Optional, Set

from qgis.core import QgsApplication, QgsProcessingUtils, QgsProject
from qgis.gui import QgsDockWidget
from qgis.PyQt.QtCore import Qt

from ....processing.common import cautions
from ....processing.common.language import tr
from ....processing.record.query import Answer, Question
from ....processing.record.schema import ITEMS
from ....processing.steps.queryrecord import query_record_step
from ....processing.steps.shared.records import site_grid
from ...plain_text import as_html
from ...project.background import WorkTask
from ...project.shown import first_visible, shown_planes
from ...record import records
from ...record.places import Place
from .asked import AskedOnMap
from .choice import RecordChoice
from .controls import RecordControls
from .layers import AnswerOnMap


def make(desk) -> "RecordPanel":
    """The panel of the registry."""
    return RecordPanel(desk)


@dataclass(frozen=True)
class Answered:
    """An answer, its sentences, and the GeoPackage of its layers."""

    answer: Answer
    sentences: List[str]
    path: str


class RecordPanel(QgsDockWidget):
    """One record, one place at a time. `answered` is what is shown, `task` what is being worked out."""

    AREA = Qt.DockWidgetArea.RightDockWidgetArea

    def __init__(self, desk):
        super().__init__(desk.iface.mainWindow())
        self.iface, self.canvas, self.project = desk.iface, desk.iface.mapCanvas(), QgsProject.instance()
        self.place: Optional[Place] = None
        self.answered: Optional[Answered] = None
        self.task: Optional[WorkTask] = None
        self._running: Set[WorkTask] = set()  # without a reference a task would be gone before its turn
        self._dialog = None
        self.controls = RecordControls()
        self.setWidget(self.controls)
        self.on_map = AnswerOnMap(self.project, self.canvas)
        self.choice = RecordChoice(self.controls, self._run, self)
        self.asked = AskedOnMap(self.iface, self.controls, self.ask, self.say)
        self._connect()
        self._from_project()

    def _connect(self) -> None:
        controls = self.controls
        self.choice.changed.connect(self._forget)
        self.choice.looked.connect(self._enable)
        self.choice.said.connect(self.say)
        controls.again.clicked.connect(lambda: self.ask(self.place))
        controls.rows.wanted.connect(self._go_to)
        controls.rows.itemSelectionChanged.connect(self._enable)
        controls.verify.clicked.connect(self.open_verification)
        controls.update_record.clicked.connect(self.open_update)
        self.closedStateChanged.connect(self._closed_or_opened)
        self.project.readProject.connect(self._from_project)

    @property
    def record(self) -> str:
        """The record as it is named; it may not be there yet."""
        return self.choice.record

    def open_record(self, text: str) -> None:
        """Ask another record: the path of a GeoPackage, or postgres:NAME/SCHEMA."""
        self.choice.open(text)

    def _from_project(self, *_document) -> None:
        self._forget()
        self.choice.from_project()

    # Asking

    def ask(self, place: Optional[Place]) -> None:
        """Ask about a place; the answer appears when it is worked out."""
        problems = records.problems_of(self.record, must_exist=True)
        if place is None or problems:
            self.say(problems)
            return
        if self.task is not None:
            self.task.cancel()
        self.place = place
        self.on_map.outline(place)
        words, context = records.record_words(self.record), self.project.transformContext()
        path = QgsProcessingUtils.generateTempFilename("answer.gpkg")
        asked = {
            "level": self.controls.level.currentData() or None,
            "width_m": self.controls.width.value(),
            "depth_m": 0.001 * self.controls.depth.value() or None,
            "known_on": self.controls.day(),
        }

        def work(monitor) -> Answered:
            polygon, line = place.on_grid(site_grid(words), context)
            question = Question(polygon=polygon, line=line, **asked)
            return Answered(*query_record_step(words, question, path, None, monitor), path)

        self.say([tr("Asking about {place} …", place=place.words)])
        self.task = self._run(tr("Ask the record"), work, self._done)
        self._enable()

    def _done(self, task: WorkTask) -> None:
        if task is not self.task:
            return  # something else was asked meanwhile, or the panel is gone
        self.task = None
        self._forget(keep_place=True)
        if task.result is None:
            self.say([task.sentence or tr("Cancelled.")])
        else:
            self.answered = task.result
            self.say([*task.result.sentences, cautions.SHORT])
            self.controls.rows.show_answer(task.result.answer)
            self.on_map.show(task.result.path)
            if self.place.geometry is None:
                self.on_map.zoom_to_all()
        self._enable()

    def _run(self, title: str, work, done) -> WorkTask:
        def ended(task: WorkTask) -> None:
            self._running.discard(task)
            done(task)

        task = WorkTask(title, work, ended)
        self._running.add(task)
        QgsApplication.taskManager().addTask(task)
        return task

    # The answer

    def say(self, sentences: List[str]) -> None:
        """Show sentences in place of the answer."""
        self.controls.sentences.setPlainText("\n".join(sentences))

    def _go_to(self, row) -> None:
        sentence = self.on_map.zoom_to(row)
        if sentence:
            self.iface.messageBar().pushInfo("Inslab", as_html(sentence))

    def _forget(self, keep_place: bool = False) -> None:
        """Take the answer away, and the layers with it."""
        self.controls.rows.forget()
        self.on_map.clear()
        if self.answered is not None:
            Path(self.answered.path).unlink(missing_ok=True)
        self.answered = None
        if not keep_place:
            self.place = None
            self.on_map.outline(Place(""))
            self.say([])

    def _enable(self) -> None:
        named, chosen = bool(self.record), self._chosen_item()
        for control in ("draw_area", "draw_line", "selected", "view", "everything", "update_record"):
            getattr(self.controls, control).setEnabled(named)
        self.controls.again.setEnabled(named and self.place is not None)
        self.controls.verify.setEnabled(bool(chosen))

    # What changes the record

    def _chosen_item(self) -> str:
        return (self.controls.rows.chosen or {}).get(ITEMS.item_id, "")

    def open_verification(self) -> None:
        """The dialog that enters an opening, with the chosen item filled in."""
        self._open_dialog("inslab:verifyitem", {"RECORD": self.record, "ITEM": self._chosen_item()})

    def open_update(self) -> None:
        """The dialog that merges the survey that the map shows."""
        plane = first_visible(shown_planes(self.project), self.project)
        given = {"SURVEY": plane.survey_path} if plane is not None else {}
        self._open_dialog("inslab:updaterecord", {"RECORD": self.record, **given})

    def _open_dialog(self, algorithm: str, parameters) -> None:
        from qgis import processing

        self._dialog = processing.createAlgorithmDialog(algorithm, parameters)
        self._dialog.algorithmFinished.connect(self._changed)
        self._dialog.show()

    def _changed(self, succeeded: bool, _results=None) -> None:
        """The record is another one now: ask again."""
        if succeeded:
            self.choice.look()
            if self.place is not None:
                self.ask(self.place)

    # Coming and going

    def _closed_or_opened(self, is_closed: bool) -> None:
        self.on_map.show_outline(not is_closed)
        if is_closed:
            self.asked.let_go()

    def close_down(self) -> None:
        """Let go of the project and of the map."""
        self.choice.close()
        self.project.readProject.disconnect(self._from_project)
        for task in list(self._running):
            task.cancel()
        self.task = None
        self.asked.remove()
        self._forget()
        self.on_map.remove()
        if self._dialog is not None:
            self._dialog.close()
