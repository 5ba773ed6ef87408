"""Files from strangers: each is read right or refused with one sentence, in little time and memory.

tests/hostile/fuzz_files.py does the same for thousands of files, guided by the code they reach.
"""

import csv
import io
from pathlib import Path

import hostile
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inslab.processing.survey.formats.registry import read_header, read_traces

FEW = settings(
    max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A survey around the file that is replaced."""
    path = tmp_path_factory.mktemp("hostile")
    hostile.prepare(path)
    return path


@pytest.fixture(scope="module")
def seeds(tmp_path_factory):
    return hostile.seeds(tmp_path_factory.mktemp("seeds"))


def test_the_seeds_are_read(seeds, tmp_path):
    """Else nothing behind the first refusal would be tried."""
    hostile.prepare(tmp_path)
    for kind, content in seeds:
        sentence = hostile.check(kind, content, tmp_path)
        assert not sentence or ("does not say" not in sentence and "sample_interval" in sentence), (kind, sentence)
        hostile.prepare(tmp_path)


@FEW
@given(data=st.data())
def test_spoilt_files(seeds, folder, data):
    kind, content = data.draw(st.sampled_from(seeds))
    content = bytearray(content)
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(content) - 1))
        content[at] = data.draw(st.integers(0, 255))
    end = data.draw(st.one_of(st.none(), st.integers(0, len(content))))
    hostile.prepare(folder)
    hostile.check(kind, bytes(content[:end]), folder)


@FEW
@given(kind=st.sampled_from(sorted(hostile.KINDS)), content=st.binary(max_size=5000))
def test_any_bytes(folder, kind, content):
    hostile.prepare(folder)
    hostile.check(kind, content, folder)


@FEW
@given(
    table=st.sampled_from(["areas", "lines", "points"]),
    rows=st.lists(st.lists(st.text(max_size=12), min_size=5, max_size=9), max_size=6),
)
def test_tables_of_any_text(folder, table, rows):
    head = {"areas": hostile.AREA, "lines": hostile.LINE, "points": hostile.POINT}[table].split("\n")[0]
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    hostile.prepare(folder)
    hostile.check(table, f"{head}\n{text.getvalue()}".encode("utf-8", "surrogatepass"), folder)


@FEW
@given(
    values=st.lists(
        st.lists(st.floats(width=32, allow_nan=False, allow_infinity=False), min_size=4, max_size=4),
        min_size=2,
        max_size=6,
    ),
    separator=st.sampled_from([",", ";", "\t", " "]),
    order=st.sampled_from(["traces", "samples"]),
    newline=st.sampled_from(["\n", "\r\n"]),
)
def test_every_right_text_file_is_read_right(folder, values, separator, order, newline):
    lines = ["# sample_interval_ns: 0.05", f"# rows: {order}"]
    lines += [separator.join(repr(value) for value in row) for row in values]
    path = folder / "right.csv"
    path.write_bytes(newline.join(lines).encode())
    expected = np.array(values, np.float32)
    traces = read_traces(path)
    assert (traces if order == "traces" else traces.T).tobytes() == np.ascontiguousarray(expected).tobytes()


@FEW
@given(
    traces=st.integers(1, 5).flatmap(
        lambda n: st.lists(st.lists(st.integers(-32768, 32767), min_size=3, max_size=3), min_size=n, max_size=n)
    ),
    revision=st.sampled_from([0, 1, 2]),
    sample_format=st.sampled_from(["float32", "int16", "int32", "ibm"]),
    little=st.booleans(),
)
def test_every_right_segy_file_is_read_right(folder, traces, revision, sample_format, little):
    from inslab.processing.survey.formats.segy import write_segy

    path = folder / "right.sgy"
    write_segy(path, np.array(traces), 0.05, revision=revision, sample_format=sample_format, little_endian=little)
    assert read_traces(path).tolist() == traces
    assert read_header(path).sample_interval_ns == pytest.approx(0.05)


def test_segy_files_of_other_makers_are_read_or_refused(tmp_path):
    """Those that the packages segyio and ObsPy carry for their own tests."""
    obspy = pytest.importorskip("obspy")
    found = [
        path
        for path in sorted(Path(obspy.__file__).parent.glob("io/segy/tests/data/*"))
        if path.is_file() and path.stat().st_size < 2_000_000
    ]
    hostile.prepare(tmp_path)
    read = sum(not hostile.check("segy", path.read_bytes(), tmp_path) for path in found)
    if not found:
        pytest.skip("this ObsPy carries no SEG-Y files")
    assert read > 0


@pytest.mark.parametrize(
    ("kind", "content"),
    [
        ("text", b"# sample_interval_ns: 0.05\n# rows: traces\n" + b"1," * 200_000),
        ("text", b"# sample_interval_ns: 0.05\n# rows: traces\n" + b"1\n" * 100_000),
        ("text", b"#" * 1_000_000),
        ("text", b"# rows: traces\n# sample_interval_ns: 1e400\n1 2\n"),
        ("text", b"# rows: traces\n# sample_interval_ns: 0.1\n" + b"9" * 400 + b" 2\n"),
        ("areas", b'"' * 100_000),
        ("areas", hostile.AREA.encode() + b"B," * 100_000),
        ("lines", hostile.LINE.encode() * 200),
        ("lines", hostile.LINE.replace("line.sgy", "../" * 300 + "etc/passwd").encode()),
        ("lines", hostile.LINE.replace("line.sgy", "line.sgy\0").encode()),
        ("points", hostile.POINT.replace("0.003", "1e-999").encode()),
    ],
)
def test_tricks(folder, kind, content):
    hostile.prepare(folder)
    hostile.check(kind, content, folder)
