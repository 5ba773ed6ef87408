"""Reads SEG-Y files that others made, and checks that each is read as segyio reads it, or refused with a sentence.

    .venv/bin/python tests/hostile/strange_segy.py FILE_OR_ARCHIVE ...

Without arguments, and besides them, it takes the files that the ObsPy package carries. Two packages of the Python index carry
others, in their source archives, which pip fetches (an empty environment keeps the build tools of one of them away):

    python3 -m venv fetch
    fetch/bin/pip install 'setuptools<72' wheel scikit-build setuptools_scm
    fetch/bin/pip download --no-deps --no-build-isolation --no-binary :all: segyio==1.9.6 segypy==0.60
    .venv/bin/python tests/hostile/strange_segy.py segyio-1.9.6.tar.gz segypy-0.60.tar.gz

docs/reliability.md holds the figures.
"""

import sys
import tarfile
import tempfile
import time
import tracemalloc
from importlib.util import find_spec
from pathlib import Path
from typing import List

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "helpers"))
import conftest  # noqa: F401 - makes the package importable
import hostile
import segyio

SUFFIXES = (".sgy", ".segy", ".su")


def carried_by_obspy() -> List[Path]:
    """SEG-Y and Seismic Unix files of the installed package; it is not imported."""
    folder = Path(find_spec("obspy").origin).parent / "io" / "segy" / "tests" / "data"
    return sorted(path for path in folder.iterdir() if path.suffix not in (".npy", ".txt"))


def unpack(archive: Path, folder: Path) -> List[Path]:
    """The files of an archive that may be SEG-Y, each in a folder of its own below `folder`."""
    found = []
    with tarfile.open(archive) as held:
        for number, member in enumerate(held.getmembers()):
            if member.isfile() and Path(member.name).suffix.lower() in SUFFIXES:
                path = folder / f"{archive.stem}-{number}" / Path(member.name).name
                path.parent.mkdir()
                path.write_bytes(held.extractfile(member).read())
                found.append(path)
    return found


def look(path: Path) -> str:
    """What became of a file; raises `AssertionError` where it is read wrongly, slowly or with too much memory."""
    tracemalloc.start()
    start = time.process_time()
    try:
        sentence = hostile.read("segy", path)
    finally:
        seconds, peak = time.process_time() - start, tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert seconds < hostile.SECONDS, f"{path.name}: {seconds:.1f} s"
    assert peak <= hostile.TIMES_THE_FILE * path.stat().st_size + hostile.ALLOWANCE_BYTES, f"{path.name}: {peak} bytes"
    if sentence:
        return f"refused: {sentence}"
    traces = hostile.read_traces(path)
    for order in ("big", "little"):
        try:
            with segyio.open(path, ignore_geometry=True, endian=order) as file:
                same = np.array_equal(file.trace.raw[:].reshape(traces.shape), traces)
        except (RuntimeError, ValueError, OSError):  # not in this byte order
            continue
        if same:
            return f"read as segyio does: {traces.shape[0]} traces of {traces.shape[1]} samples"
    raise AssertionError(f"{path.name}: segyio reads other samples")


def main(arguments) -> int:
    with tempfile.TemporaryDirectory() as temporary:
        paths = carried_by_obspy()
        for given in map(Path, arguments):
            paths += unpack(given, Path(temporary)) if tarfile.is_tarfile(given) else [given]
        said = [look(path) for path in paths]
    for path, sentence in zip(paths, said):
        print(f"{path.name}: {sentence}")
    refused = sum(sentence.startswith("refused") for sentence in said)
    print(f"{len(said)} files: {len(said) - refused} read as segyio reads them, {refused} refused with a sentence")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
