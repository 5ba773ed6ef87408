"""Results of areas, kept on disk by what they depend on, so that a run repeats only what has changed.

The key of a result is a SHA-256 over everything that can change it: the fingerprints of the area's line files, its part of the
tables, known depths and settings (all of it is the `AreaTask`, the only thing that `work_area` gets), the language of what is
told, the program and the releases of the libraries that it computes with. The program counts by the bytes of its source files,
not by a number that someone must remember to raise: a forgotten number would give old results under a new version, a changed
comment costs one run.

An entry is one file in numpy's npz format (no pickle), written under a temporary name and moved. It carries its key and a checksum;
one that is damaged, or lies in another's place, is computed again. The whole folder may be deleted at any time.
"""

import hashlib
import platform
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Dict, List, Mapping, Optional

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import current, tr
from ..survey.fingerprint import FileState, digest_of, state_of
from .compute import AreaResult, AreaTask
from .plain_data import from_bytes, to_bytes, to_text

CACHE_FOLDER = ".inslab-cache"
_PROCESSING = Path(__file__).parent.parent
# Everything that `work_area` runs, and what packs its result.
_PROGRAM = ("common", "geometry", "survey", "radar", "tracks", "speed", "items", "area")


class AreaCache:
    """The kept results in one folder. `find` and `keep` count an entry as used; `clean` removes the others."""

    def __init__(self, folder, remembered: Optional[Mapping[FileState, str]] = None):
        """`remembered`: fingerprints of files that were read already (`survey.fingerprint`)."""
        self.folder = Path(folder)
        self._used = set()
        self._remembered = dict(remembered or {})
        self._states: Dict[Path, FileState] = {}

    def key(self, task: AreaTask) -> str:
        """The key of a task's result. Raises `ProcessingError` where a line file cannot be read."""
        files = {line.path: self._content(line.path) for line in task.area.lines}
        text, arrays = to_text(task, of_path=lambda path: [path.name, files[path]])
        digest = hashlib.sha256(f"{program_digest()}\n{current()}\n{text}".encode())
        for name, array in arrays.items():
            digest.update(f"{name} {array.dtype.str} {array.shape}".encode())
            digest.update(np.ascontiguousarray(array).tobytes())
        return digest.hexdigest()

    def find(self, key: str) -> Optional[AreaResult]:
        """The kept result; None where there is none, or a damaged one."""
        try:
            written_for, result = from_bytes(self._path(key).read_bytes())
        except (OSError, ValueError, TypeError):
            return None
        if written_for != key or not isinstance(result, AreaResult):
            return None
        self._used.add(key)
        return result

    def keep(self, key: str, result: AreaResult, task: AreaTask) -> bool:
        """Keeps the result of a task; not where a line file has changed since its key was made.

        Returns whether it was kept. Raises `ProcessingError` where it cannot be written.
        """
        if any(self._states.get(line.path) != _state(line.path) for line in task.area.lines):
            return False
        path = self._path(key)
        part = path.with_name(f"{path.name}.part")
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            part.write_bytes(to_bytes((key, result)))
            part.replace(path)
        except OSError as error:
            raise ProcessingError(
                tr(
                    "{file} cannot be written ({reason}); free some space or choose another output folder, then run "
                    "this again: areas that are done are not computed again.",
                    file=path,
                    reason=error.strerror,
                )
            ) from error
        finally:
            _remove(part)
        self._used.add(key)
        return True

    def clean(self) -> None:
        """Removes what was not used: entries of other inputs, and what a killed run left half written."""
        for path in self.folder.glob("*.npz*"):
            if path.name not in {self._path(key).name for key in self._used}:
                _remove(path)

    def _path(self, key: str) -> Path:
        return self.folder / f"{key[:40]}.npz"

    def _content(self, path: Path) -> str:
        """The fingerprint of a file's content; its state before it was read is kept."""
        try:
            self._states[path] = state_of(path)
            return digest_of(path, self._remembered)
        except OSError as error:
            raise ProcessingError(
                tr("{file} cannot be read ({reason}); check the survey folder.", file=path, reason=error.strerror)
            ) from error


def _state(path: Path) -> Optional[FileState]:
    """None of a file that is gone."""
    try:
        return state_of(path)
    except OSError:
        return None


def _remove(path: Path) -> None:
    try:
        path.unlink()
    except OSError:
        pass  # gone already, or held by another program: the next run tries again


@cache
def program_digest() -> str:
    """SHA-256 over the program that computes an area, and over the releases of what it computes with."""
    digest = hashlib.sha256()
    files: List[Path] = sorted(path for folder in _PROGRAM for path in (_PROCESSING / folder).rglob("*.py"))
    for path in files:
        digest.update(path.relative_to(_PROCESSING).as_posix().encode())
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    digest.update(f"{platform.python_version()} {platform.machine()} {np.__version__} {_release('scipy')}".encode())
    return digest.hexdigest()


def _release(package: str) -> str:
    try:
        return metadata.version(package)
    except metadata.PackageNotFoundError:
        return ""
