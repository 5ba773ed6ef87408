"""One run at a time into one output folder, and one step at a time that changes a survey.

The lock is the operating system's: it goes with the process that holds it, however that ends, so a killed run never leaves a folder
locked. The file stays behind then, and means nothing.
"""

import functools
import inspect
import os
import threading
from contextlib import contextmanager
from pathlib import Path

from ..common.errors import ProcessingError
from ..common.language import tr

LOCK_FILE = ".inslab-lock"
_of_this_thread = threading.local()  # `folder`: that of the survey which a step of this thread changes


def changes_survey(step):
    """Marks a step that reads the GeoPackage named by its argument `survey_path` and changes it at its end.

    It holds the file's folder from its start on: of two such steps at once, the second to write would undo the first.
    """
    signature = inspect.signature(step)

    @functools.wraps(step)
    def alone(*arguments, **named):
        folder = Path(signature.bind(*arguments, **named).arguments["survey_path"]).parent
        if not folder.is_dir() or _holds(folder):
            return step(*arguments, **named)  # which says itself that there is no such file
        try:
            with folder_lock(folder):
                _of_this_thread.folder = folder.resolve()
                return step(*arguments, **named)
        finally:
            _of_this_thread.folder = None

    return alone


def _holds(folder: Path) -> bool:
    return getattr(_of_this_thread, "folder", None) == folder.resolve()


@contextmanager
def folder_lock(folder: Path):
    """Holds `folder` for the block. Raises `ProcessingError` where another run holds it, or where no file can be made."""
    if _holds(folder):  # the step that changes the survey also writes files beside it
        yield
        return
    with _locked(Path(folder)):
        yield


@contextmanager
def _locked(folder: Path):
    path = folder / LOCK_FILE
    while True:
        try:
            file = path.open("ab")
        except OSError as error:
            raise cannot_be_written(folder, error) from error
        if not _lock(file):
            file.close()
            raise ProcessingError(
                tr(
                    "Another run is writing into {folder}; wait until it is done, then run this again.",
                    folder=folder,
                )
            )
        if _is_still_there(file, path):
            break
        file.close()  # the run before removed it between our opening and locking it
    try:
        yield
    finally:
        if os.name == "nt":
            file.close()
        try:
            path.unlink()
        except OSError:
            pass  # the next run that waits for it holds it already
        file.close()


def cannot_be_written(folder: Path, error: OSError) -> ProcessingError:
    """The sentence for a folder in which no file can be made."""
    return ProcessingError(
        tr(
            "{folder} cannot be written to ({reason}); choose another output folder.",
            folder=folder,
            reason=error.strerror,
        )
    )


def _lock(file) -> bool:
    """Locks an open file for this process; returns False where another has it."""
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    except OSError:
        return True  # a network file system without locks: better no guard than no result
    return True


def _is_still_there(file, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(file.fileno()), path.stat())
    except OSError:
        return False
