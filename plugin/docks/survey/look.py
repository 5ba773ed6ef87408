"""How the steps of a survey stand, found out in the background and again whenever its files change."""

from pathlib import Path
from typing import List, Optional

from qgis.core import QgsApplication, QgsTask
from qgis.PyQt.QtCore import QFileSystemWatcher, QObject, QTimer, pyqtSignal

from ....processing.common.errors import InslabError
from ....processing.common.language import tr
from ....processing.common.monitor import Monitor
from ....processing.steps.shared.survey_state import StepState, read_states
from ...project.background import quiet_flags

SOON_MS = 300


class SurveyLook(QObject):
    """Looks at one survey at a time. Signals: `found` (a list of `StepState`), `failed` (a sentence)."""

    found = pyqtSignal(list)
    failed = pyqtSignal(str)

    def __init__(self, parent=None):
        super().__init__(parent)
        self._folder, self._survey = "", None
        self._remembered = {}  # fingerprints of files that have not changed since
        self._task: Optional[QgsTask] = None
        self._again = False
        self._soon = QTimer(self)
        self._soon.setSingleShot(True)
        self._soon.setInterval(SOON_MS)
        self._soon.timeout.connect(self.now)
        self._watcher = QFileSystemWatcher(self)
        self._watcher.fileChanged.connect(lambda _: self.soon())
        self._watcher.directoryChanged.connect(lambda _: self.soon())

    @property
    def is_looking(self) -> bool:
        """Is it looking, or about to?"""
        return self._task is not None or self._soon.isActive()

    def at(self, folder: str, survey: Optional[Path]) -> None:
        """Look at another survey: its folder and its GeoPackage, either of which may be missing."""
        self._folder, self._survey = folder, survey
        self._remembered.clear()
        self.now()

    def soon(self) -> None:
        """Look again in a moment: changes of files come in dozens."""
        self._soon.start()

    def now(self) -> None:
        """Look again, in the background: large surveys take a while to be compared."""
        if self._survey is None:
            self.found.emit([])
            return
        if self._task is not None:
            self._again = True
            return
        survey, folder, remembered = self._survey, self._folder, self._remembered

        def look(task) -> List[StepState]:
            return read_states(survey, folder, remembered, Monitor(cancelled=task.isCanceled))

        self._task = QgsTask.fromFunction(tr("Check the survey"), look, on_finished=self._looked, flags=quiet_flags())
        QgsApplication.taskManager().addTask(self._task)

    def close(self) -> None:
        """Nothing of ours is called any more."""
        self._soon.stop()
        if self._task is not None:
            self._task.cancel()

    def _looked(self, error, states=None) -> None:
        task, self._task = self._task, None
        if task is None or task.isCanceled():
            return
        if error is not None:
            known = isinstance(error, InslabError)
            self.failed.emit(str(error) if known else tr("The survey cannot be checked: {reason}", reason=error))
        self.found.emit(states or [])
        self._watch()
        if self._again:
            self._again = False
            self.now()

    def _watch(self) -> None:
        """Hear of changes in the survey folder and in the result."""
        old = [*self._watcher.files(), *self._watcher.directories()]
        if old:
            self._watcher.removePaths(old)
        folder, survey = self._folder, self._survey
        paths = [*([Path(folder), *Path(folder).glob("*.csv")] if folder else []), *([survey] if survey else [])]
        there = [str(path) for path in paths if path.exists()]
        if there:
            self._watcher.addPaths(there)
