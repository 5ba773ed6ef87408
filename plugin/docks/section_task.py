"""Composing a section in the background, so that the window stays alive."""

from typing import Callable

from qgis.core import QgsTask

from ...processing.errors import Cancelled, InslabError
from ...processing.language import tr
from ...processing.monitor import Monitor


class SectionTask(QgsTask):
    """Calls `compose(monitor)`, which returns a section, away from the main thread, and `done(task)` in it.

    Attributes
    ----------
    section : Section or None
    sentence : str
        Why there is no section; empty where the task was cancelled.
    """

    def __init__(self, title: str, compose: Callable, done: Callable):
        flags = QgsTask.Flag.CanCancel
        if hasattr(QgsTask.Flag, "Silent"):  # QGIS 3.26: no message that it is done, the section itself says so
            flags |= QgsTask.Flag.Silent
        super().__init__(title, flags)
        self._compose, self._done = compose, done
        self.section = None
        self.sentence = ""

    def run(self) -> bool:
        """Never raises: QGIS would go down with it."""
        try:
            monitor = Monitor(progress=lambda part: self.setProgress(100 * part), cancelled=self.isCanceled)
            self.section = self._compose(monitor)
        except Cancelled:
            return False
        except InslabError as error:
            self.sentence = str(error)
        except MemoryError:
            self.sentence = tr("The memory does not suffice for this section.")
        except OSError as error:
            self.sentence = tr("A file cannot be read ({reason}).", reason=error)
        except Exception as error:
            self.sentence = tr(
                "A fault of the program ({kind}: {reason}); please report it.", kind=type(error).__name__, reason=error
            )
        return self.section is not None

    def finished(self, result: bool) -> None:
        self._done(self)
