"""Reads SEG-Y files that others made, and checks that each is read as another program reads it, or refused with a sentence.

    .venv/bin/python tests/hostile/strange_segy.py [--fetch] [FILE_OR_ARCHIVE ...]

It takes the files that the ObsPy package carries, and those that are named. With --fetch pip gets the source archives of two
packages of the Python index that carry real recordings: segyio (a part of a marine survey) and SegyPY (a shot gather).
docs/reliability.md holds the figures.
"""

import os
import subprocess
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

ARCHIVES = ("segyio==1.9.6", "segypy==0.60")
# Stands for segyio's build tool, so that pip gets its source without building anything.
BUILD_TOOL = """
import setuptools, setuptools.command.test
def setup(name, **rest):
    setuptools.setup(name=name, version="1.9.6", packages=[])
"""
SUFFIXES = (".sgy", ".segy", ".su")


def carried_by_obspy() -> List[Path]:
    """SEG-Y and Seismic Unix files of the installed package; it is not imported."""
    folder = Path(find_spec("obspy").origin).parent / "io" / "segy" / "tests" / "data"
    return sorted(path for path in folder.iterdir() if path.suffix not in (".npy", ".txt"))


def fetch(folder: Path) -> List[Path]:
    """The source archives of `ARCHIVES`."""
    (folder / "skbuild.py").write_text(BUILD_TOOL, encoding="utf-8")
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--no-build-isolation"]
    command += ["--no-binary", ":all:", "--dest", str(folder), *ARCHIVES]
    subprocess.run(command, check=True, env={**os.environ, "PYTHONPATH": str(folder)})
    return sorted(folder.glob("*.tar.gz"))


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
    size = f"{traces.shape[0]} traces of {traces.shape[1]} samples"
    beside = Path(f"{path}.npy")
    if beside.exists():  # segyio loses digits of IBM numbers that are not normalised, which one of these files has
        assert np.array_equal(np.load(beside).astype(np.float32).reshape(traces.shape), traces), (
            f"{path.name}: other samples"
        )
        return f"read as ObsPy does: {size}"
    for order in ("big", "little"):
        try:
            with segyio.open(path, ignore_geometry=True, endian=order) as file:
                same = np.array_equal(file.trace.raw[:].reshape(traces.shape), traces)
        except (RuntimeError, ValueError, OSError):  # not in this byte order
            continue
        if same:
            return f"read as segyio does: {size}"
    raise AssertionError(f"{path.name}: segyio reads other samples")


def main(arguments) -> int:
    with tempfile.TemporaryDirectory() as temporary:
        paths = carried_by_obspy()
        named = [Path(name) for name in arguments if name != "--fetch"]
        for given in named + (fetch(Path(temporary)) if "--fetch" in arguments else []):
            paths += unpack(given, Path(temporary)) if tarfile.is_tarfile(given) else [given]
        said = [look(path) for path in paths]
    for path, sentence in zip(paths, said):
        print(f"{path.name}: {sentence}")
    refused = sum(sentence.startswith("refused") for sentence in said)
    print(
        f"{len(said)} files: {len(said) - refused} read as another program reads them, {refused} refused with a sentence"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
