"""Background tasks of our own."""

from typing import Callable

from qgis.core import QgsTask

from ...processing.common.errors import Cancelled, sentence_on
from ...processing.common.language import tr
from ...processing.common.monitor import Monitor
from ...processing.common.packages import packages


def quiet_flags():
    """Flags of a task that a user did not start: it can be cancelled, and QGIS says nothing when it is done (from 3.26)."""
    flags = QgsTask.Flag.CanCancel
    for name in ("Hidden", "Silent"):
        if hasattr(QgsTask.Flag, name):
            flags |= getattr(QgsTask.Flag, name)
    return flags


class WorkTask(QgsTask):
    """Calls `work(monitor)` away from the main thread, so that the window stays alive, and `done(task)` in it.

    Attributes
    ----------
    result
        What `work` returned; None where it did not get so far.
    sentence : str
        Why there is no result; empty where the task was cancelled.
    """

    def __init__(self, title: str, work: Callable, done: Callable):
        flags = QgsTask.Flag.CanCancel
        if hasattr(QgsTask.Flag, "Silent"):  # QGIS 3.26: no message that it is done, the panel itself says so
            flags |= QgsTask.Flag.Silent
        super().__init__(title, flags)
        self._work, self._done = work, done
        self.result = None
        self.sentence = ""

    def run(self) -> bool:
        """Never raises: QGIS would go down with it."""
        try:
            monitor = Monitor(progress=lambda part: self.setProgress(100 * part), cancelled=self.isCanceled)
            with packages():
                self.result = self._work(monitor)
        except Cancelled:
            return False
        except Exception as error:
            self.sentence = sentence_on(
                error,
                memory=tr("There is not enough memory for this."),
                file=tr("A file cannot be read ({reason})."),
                internal=tr("Internal error ({kind}: {reason}); please report it."),
            )
        return self.result is not None

    def finished(self, result: bool) -> None:
        self._done(self)
