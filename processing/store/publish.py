"""Moving a finished result into place, so that a cancelled, failed or killed run leaves the earlier one as it was.

A run that is killed leaves its hidden folder behind, which the next run into the same output folder removes. If it was killed while
its files were being moved, a list of the moves lies there, and the next run completes them first.
"""

import errno
import json
import os
import shutil
import tempfile
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Iterable, List, Tuple

from ..common.errors import ProcessingError
from ..common.language import tr
from .locks import cannot_be_written, folder_lock
from .replacing import WINDOWS, check_replaceable, is_open, put_in_place

_STAGING, _MOVES = ".unfinished-", "moves.json"


@contextmanager
def staging_folder(output_folder):
    """A new hidden folder inside `output_folder` (so on the same file system), removed at the end whatever happens.

    Until then no other run can have one there. Raises `ProcessingError` where one has, or where nothing can be written.
    """
    output = Path(output_folder)
    with ExitStack() as held:
        try:
            output.mkdir(parents=True, exist_ok=True)
            held.enter_context(folder_lock(output))
            _clear_up(output)
            staging = Path(tempfile.mkdtemp(prefix=_STAGING, dir=output))
        except OSError as error:
            raise cannot_be_written(output, error) from error
        held.callback(shutil.rmtree, staging, ignore_errors=True)
        try:
            yield staging
        except OSError as error:
            if error.errno not in (errno.ENOSPC, errno.EDQUOT):
                raise
            raise ProcessingError(
                tr(
                    "{folder} has no space left; free some space or choose another output folder, then run this again.",
                    folder=output,
                )
            ) from error


def _clear_up(output: Path) -> None:
    """Completes what a killed run had begun to move into place, and removes what killed runs left."""
    for staging in sorted(output.glob(f"{_STAGING}*")):
        into, away = _begun_moves(staging, output)
        for name in into:
            if (staging / name).is_file():
                (output / name).parent.mkdir(parents=True, exist_ok=True)
                put_in_place(staging / name, output / name)
        for name in away:
            (output / name).unlink(missing_ok=True)
        shutil.rmtree(staging, ignore_errors=True)


def _begun_moves(staging: Path, output: Path) -> Tuple[List[str], List[str]]:
    """Names of the files that were to come into place and of those that were to go; none where moving had not begun."""
    try:
        moves = json.loads((staging / _MOVES).read_text(encoding="utf-8"))
        names = [*moves["into"], *moves["away"]]
        inside = all(output.resolve() in (output / name).resolve().parents for name in names)
    except FileNotFoundError:
        return [], []
    except (ValueError, KeyError, TypeError):  # killed while it was written, so before anything was moved
        return [], []
    return (moves["into"], moves["away"]) if inside else ([], [])  # not ours: a run names only what lies in its folder


def publish(staging, output_folder, stale: Iterable[Path] = ()) -> None:
    """Moves every file of `staging` to the same place in `output_folder` and removes the `stale` ones of an earlier result.

    `stale` are paths; those outside the output folder, and all other files that lie in it, are left alone. If one file
    cannot be replaced (open in a program that locks it), all that was moved is moved back and `ProcessingError` names it.
    """
    staging, output = Path(staging), Path(output_folder)
    new = sorted(path.relative_to(staging) for path in staging.rglob("*") if path.is_file())
    # What QGIS keeps beside a raster (statistics, .aux.xml) describes the earlier one.
    root = output.resolve()
    leaving = {*new, *(path.resolve().relative_to(root) for path in stale if root in path.resolve().parents)}
    leaving |= {path.with_name(path.name + ".aux.xml") for path in leaving if path.suffix == ".tif"}
    for path in new:
        if path.suffix == ".gpkg":
            check_replaceable(output / path)
    in_use = [path for path in new if path.suffix == ".gpkg" and is_open(output / path)]
    earlier = Path(tempfile.mkdtemp(prefix=".earlier-", dir=staging))
    moved: List[Tuple[Path, Path]] = []
    moves = staging / _MOVES
    try:
        away = sorted(path.as_posix() for path in leaving - set(new))
        moves.write_text(json.dumps({"into": [path.as_posix() for path in new], "away": away}), encoding="utf-8")
        for path in sorted(leaving - set(in_use)):
            if (output / path).is_file():
                _move(output / path, earlier / path, moved)
        for path in new:
            if path not in in_use:
                _move(staging / path, output / path, moved)
        for path in in_use:
            put_in_place(staging / path, output / path)
    except ProcessingError:
        _move_back(moved, moves)
        raise
    except OSError as error:
        _move_back(moved, moves)
        raise ProcessingError(
            tr(
                "{path} cannot be replaced ({reason}); close it in other programs, then run this again. "
                "The earlier result is unchanged.",
                path=error.filename,
                reason=error.strerror,
            )
        ) from error


def check_text_can_be_written(path) -> None:
    """Raises `ProcessingError` where `write_text` could not write to `path`: to be asked before anything else is changed."""
    path = Path(path)
    with _text_failures(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        part = path.with_name(f".{path.name}.part")
        part.write_bytes(b"")
        part.unlink()


def write_text(path, text: str) -> None:
    """Writes a UTF-8 text file under a temporary name and moves it to `path`."""
    path = Path(path)
    part = path.with_name(f".{path.name}.part")
    with _text_failures(path):
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            part.write_bytes(text.encode("utf-8"))
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)


@contextmanager
def _text_failures(path: Path):
    try:
        yield
    except OSError as error:
        raise ProcessingError(
            tr(
                "{path} cannot be written ({reason}); choose another place for it.",
                path=path,
                reason=error.strerror,
            )
        ) from error


def _move(source: Path, target: Path, moved: List[Tuple[Path, Path]]) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    _exchange(source, target)
    moved.append((source, target))


def _exchange(source: Path, target: Path) -> None:
    """Moves a file. Windows moves nothing that is open, as a raster that QGIS shows, but lets it be written anew."""
    try:
        source.replace(target)
    except PermissionError:
        if not WINDOWS:
            raise
        shutil.copyfile(source, target)


def _move_back(moved: List[Tuple[Path, Path]], moves: Path) -> None:
    moves.unlink(missing_ok=True)  # first, so that nobody completes what is being taken back
    for source, target in reversed(moved):
        try:
            _exchange(target, source)
        except PermissionError:
            if not WINDOWS:
                raise
            # What cannot be written now could not be written before either, so it is as it was.
