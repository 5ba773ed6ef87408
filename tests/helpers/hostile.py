"""What reading a file from a stranger must keep to, whatever its bytes are."""

import gc
import sys
import time
import tracemalloc

import numpy as np

from inslab.processing.common.errors import InslabError
from inslab.processing.survey.formats.registry import read_header, read_traces
from inslab.processing.survey.formats.segy import write_segy
from inslab.processing.survey.read import read_survey

SECONDS = 1.0
# Beyond ten times the file: what the interpreter, numpy and one block of decoding need, however small the file is.
TIMES_THE_FILE, ALLOWANCE_BYTES = 10, 4_000_000

KINDS = {"segy": "line.sgy", "text": "line.csv", "unnamed": "line", "areas": "scan_areas.csv", "lines": "scan_lines.csv",
         "points": "control_points.csv"}  # fmt: skip
AREA = "area_id,level,surface,antenna_separation_m,centre_frequency_mhz,scanned_on,scanned_by,note\nA,L1,top,0.06,1500,,,\n"
LINE = "area_id,line_id,file,dipole_axis,start_x_m,start_y_m,end_x_m,end_y_m\nA,x1,line.sgy,across,0,0,0.4,0\n"
POINT = "area_id,point_id,local_x_m,local_y_m,site_x_m,site_y_m,sigma_m\nA,P1,0,0,10,20,0.003\nA,P2,1,0,11,20,0.003\n"


def seeds(folder):
    """Right files of every kind: pairs of a kind and bytes."""
    random = np.random.default_rng(1)
    traces = random.normal(0, 1000, (8, 48))
    found = []
    for revision in (0, 1, 2):
        for sample_format in ("float32", "int16", "int32", "ibm"):
            for little in (False, True):
                path = folder / "seed.sgy"
                write_segy(path, traces, 0.05, revision=revision, sample_format=sample_format, little_endian=little)
                found.append(("segy", path.read_bytes()))
    rows = "\n".join(", ".join(f"{value:.2f}" for value in row) for row in traces)
    for head in ("# sample_interval_ns: 0.05\n# rows: traces\n", "# rows: samples\n#\n"):
        found.append(("text", (head + rows).encode()))
        found.append(("text", (head + rows.replace(",", ";").replace(".", ",")).encode("utf-8-sig")))
    found.append(("unnamed", found[0][1]))
    found.append(("unnamed", found[-2][1]))
    for kind, text in (("areas", AREA), ("lines", LINE), ("points", POINT)):
        found.append((kind, text.encode()))
        found.append(
            (kind, text.replace(",", ";").replace(".", ",").replace("line,sgy", "line.sgy").encode("utf-8-sig"))
        )
    return found


def prepare(folder):
    """A survey around the file that will be replaced."""
    write_segy(folder / "line.sgy", np.random.default_rng(2).normal(0, 1, (20, 64)), 0.05)
    for name, text in (("scan_areas.csv", AREA), ("scan_lines.csv", LINE), ("control_points.csv", POINT)):
        (folder / name).write_text(text, encoding="utf-8")


def read(kind, path):
    """Reads a file as the program does; returns the sentence that refuses it, or an empty one where it was read."""
    try:
        if kind in ("segy", "text", "unnamed"):
            header = read_header(path)
            traces = read_traces(path)
            assert traces.shape == (header.trace_count, header.sample_count)
            assert traces.dtype == np.float32
        else:
            survey = read_survey(path.parent)
            assert survey.line_count == sum(len(area.lines) for area in survey.areas) > 0
    except InslabError as error:
        return str(error)
    return ""


def check(kind, content, folder, memory=True):
    """Reads `content` as a file of this kind and asserts what must hold; returns the sentence that refuses it, or ""."""
    path = folder / KINDS[kind]
    path.write_bytes(content)
    if memory:
        gc.collect(0)
        tracemalloc.start()
    start = time.process_time()
    try:
        sentence = read(kind, path)
    finally:
        seconds = time.process_time() - start
        peak = tracemalloc.get_traced_memory()[1] if memory else 0
        tracemalloc.stop()
    if seconds >= SECONDS and memory:  # measuring memory slows reading down several times
        return check(kind, content, folder, memory=False)
    if sys.gettrace() is None:  # what counts branches slows reading down as well
        assert seconds < SECONDS, f"{kind}: {seconds:.1f} s for {len(content)} bytes"
    assert peak <= TIMES_THE_FILE * len(content) + ALLOWANCE_BYTES, f"{kind}: {peak} bytes for {len(content)}"
    if sentence:
        assert "Traceback" not in sentence
        assert sentence.rstrip().endswith((".", ")")), sentence
        assert len(sentence) < 1000, sentence
    return sentence
