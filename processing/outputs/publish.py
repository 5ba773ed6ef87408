"""Moving a finished result into place, so that a cancelled or failed run leaves the earlier one as it was."""

import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import Iterable, List, Tuple

from ..errors import ProcessingError
from .geopackage import check_replaceable, is_open, put_in_place


@contextmanager
def staging_folder(output_folder):
    """A new hidden folder inside `output_folder` (so on the same file system), removed at the end whatever happens."""
    output = Path(output_folder)
    try:
        output.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=".unfinished-", dir=output))
    except OSError as error:
        raise ProcessingError(
            f"{output} cannot be written to ({error.strerror}); choose another output folder."
        ) from error
    try:
        yield staging
    finally:
        shutil.rmtree(staging, ignore_errors=True)


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
    try:
        for path in sorted(leaving - set(in_use)):
            if (output / path).is_file():
                _move(output / path, earlier / path, moved)
        for path in new:
            if path not in in_use:
                _move(staging / path, output / path, moved)
        for path in in_use:
            put_in_place(staging / path, output / path)
    except ProcessingError:
        _move_back(moved)
        raise
    except OSError as error:
        _move_back(moved)
        raise ProcessingError(
            f"{error.filename} cannot be replaced ({error.strerror}); close it in other programs, then run this again. "
            "The earlier result is unchanged."
        ) from error


def write_text(path, text: str) -> None:
    """Writes a UTF-8 text file under a temporary name and moves it to `path`."""
    path = Path(path)
    part = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(text.encode("utf-8"))
        part.replace(path)
    except OSError as error:
        raise ProcessingError(f"{path} cannot be written ({error.strerror}); choose another place for it.") from error
    finally:
        part.unlink(missing_ok=True)


def _move(source: Path, target: Path, moved: List[Tuple[Path, Path]]) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    source.replace(target)
    moved.append((source, target))


def _move_back(moved: List[Tuple[Path, Path]]) -> None:
    for source, target in reversed(moved):
        target.replace(source)
