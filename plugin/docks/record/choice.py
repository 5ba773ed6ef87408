"""Which record the record panel asks, and which levels it knows."""

from typing import List, Optional

from qgis.core import QgsProject
from qgis.PyQt.QtCore import QObject, QTimer, pyqtSignal

from ....processing.common.language import tr
from ....processing.steps.shared.records import levels_of
from ...project.background import WorkTask
from ...project.shown import first_visible, shown_planes
from ...record import records

SCOPE, ENTRY = "inslab", "record"  # under which a project keeps its record
SOON_MS = 400


class RecordChoice(QObject):
    """The record, its databases and its levels in `controls`; `run` starts a task: title, work, what is called afterwards.

    Signals: `changed` when another record is named, `looked` when its levels are known, `said` with sentences.
    """

    changed = pyqtSignal()
    looked = pyqtSignal()
    said = pyqtSignal(list)

    def __init__(self, controls, run, parent):
        super().__init__(parent)
        self.controls, self.project, self._run = controls, QgsProject.instance(), run
        self.task: Optional[WorkTask] = None
        self._soon = QTimer(self)  # a name is typed letter by letter
        self._soon.setSingleShot(True)
        self._soon.setInterval(SOON_MS)
        self._soon.timeout.connect(self.look)
        controls.record.fileChanged.connect(self._chosen)
        controls.database.menu().aboutToShow.connect(self._list_databases)

    @property
    def record(self) -> str:
        """The record as it is named; it may not be there yet."""
        return self.controls.record.filePath().strip()

    def open(self, text: str) -> None:
        """Ask another record: the path of a GeoPackage, or postgres:NAME/SCHEMA."""
        self.controls.record.setFilePath(text)
        self.look()

    def from_project(self) -> None:
        """The record that the project was used with."""
        self.controls.record.blockSignals(True)
        self.open(self.project.readEntry(SCOPE, ENTRY, "")[0])
        self.controls.record.blockSignals(False)

    def look(self) -> None:
        """Find out which levels the record knows."""
        self._soon.stop()
        self.task = None
        problems = records.problems_of(self.record, must_exist=True) if self.record else []
        if not self.record or problems:
            self._show_levels([])
            self.said.emit(problems)
            return
        words = records.record_words(self.record)
        self.task = self._run(tr("Read the record"), lambda monitor: levels_of(words), self._looked)

    def close(self) -> None:
        """Nothing of ours is called any more."""
        self._soon.stop()
        self.task = None

    def _looked(self, task: WorkTask) -> None:
        if task is not self.task:
            return  # another record was named meanwhile, or the panel is gone
        self.task = None
        self._show_levels(task.result or [])
        if task.sentence:
            self.said.emit([task.sentence])

    def _show_levels(self, levels: List[str]) -> None:
        chosen = self.controls.level.currentData() or self._level_on_map()
        self.controls.level.clear()
        self.controls.level.addItem(tr("all levels"), "")
        for level in levels:
            self.controls.level.addItem(level, level)
        self.controls.level.setCurrentIndex(max(0, self.controls.level.findData(chosen)))
        self.looked.emit()

    def _level_on_map(self) -> str:
        """The level that is looked at: sides of a slab that lie above each other are best asked one by one."""
        plane = first_visible(shown_planes(self.project), self.project)
        return plane.level_and_surface[0] if plane is not None else ""

    def _chosen(self, *_path) -> None:
        self.project.writeEntry(SCOPE, ENTRY, self.record)
        self.changed.emit()
        self._soon.start()

    def _list_databases(self) -> None:
        menu = self.controls.database.menu()
        menu.clear()
        for name in records.connection_names():
            text = records.text_of_connection(name)
            menu.addAction(name, lambda text=text: self.open(text))
        if menu.isEmpty():
            menu.addAction(tr("QGIS has no PostGIS connection; create one in the Browser panel.")).setEnabled(False)
