"""One run at a time into one output folder.

The lock is the operating system's: it goes with the process that holds it, however that ends, so a killed run never leaves a folder
locked. The file stays behind then, and means nothing.
"""

import os
from contextlib import contextmanager
from pathlib import Path

from ..errors import ProcessingError
from ..language import tr

LOCK_FILE = ".inslab-lock"


@contextmanager
def folder_lock(folder: Path):
    """Holds `folder` for the block. Raises `ProcessingError` where another run holds it, `OSError` where no file can be made."""
    path = Path(folder) / LOCK_FILE
    while True:
        file = path.open("ab")
        if not _lock(file):
            file.close()
            raise ProcessingError(
                tr(
                    "Another run is writing into {folder}; wait until it is done, or choose another output folder.",
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
