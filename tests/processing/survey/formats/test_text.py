"""Radargrams as delimited text."""

import numpy as np
import pytest

from inslab.processing.common.errors import SurveyError
from inslab.processing.survey.formats import text
from inslab.processing.survey.formats.registry import read_header, read_traces

TRACES = np.array([[1.5, -2.0, 3.25], [4.0, 5.0, -6.5]], dtype=np.float32)
HEAD = "# sample_interval_ns: 0.02\n# rows: traces\n"


def write(tmp_path, content, name="Linie_ä.txt", encoding="utf-8"):
    path = tmp_path / name
    path.write_text(content, encoding=encoding, newline="")
    return path


def body(values, separator, decimal="."):
    return "\n".join(separator.join(str(v).replace(".", decimal) for v in row) for row in values) + "\n"


@pytest.mark.parametrize(
    ("separator", "decimal"),
    [(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), (" ", "."), ("   ", "."), (", ", ".")],
)
@pytest.mark.parametrize("rows", ["traces", "samples"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
def test_separators_and_orientation(tmp_path, separator, decimal, rows, encoding):
    values = TRACES if rows == "traces" else TRACES.T
    content = f"# a remark: anything\n# Rows: {rows}\n#sample_interval_ns:0.02\n\n" + body(values, separator, decimal)
    path = write(tmp_path, content, encoding=encoding)
    header = read_header(path)
    assert (header.trace_count, header.sample_count, header.sample_interval_ns) == (2, 3, 0.02)
    read = read_traces(path)
    assert read.dtype == np.float32
    assert read.flags.c_contiguous
    assert np.array_equal(read, TRACES)


@pytest.mark.parametrize("shape", [(1, 1), (1, 5), (5, 1)])
def test_degenerate_shapes(tmp_path, shape):
    values = np.arange(5.0)[: shape[0] * shape[1]].reshape(shape)
    path = write(tmp_path, HEAD + body(values, ";"))
    assert np.array_equal(read_traces(path), values)


def test_windows_line_ends_blank_lines_and_separators_at_row_ends(tmp_path):
    path = write(tmp_path, (HEAD + "1;2;3;\n\n4;5;6;\n").replace("\n", "\r\n"))
    assert read_traces(path).tolist() == [[1, 2, 3], [4, 5, 6]]
    assert read_header(path).trace_count == 2


def test_interval_may_come_from_outside(tmp_path):
    path = write(tmp_path, "# rows: traces\n1 2\n")
    with pytest.raises(SurveyError, match="sample_interval_ns"):
        read_header(path)
    assert read_header(path, 0.5).sample_interval_ns == 0.5


def test_nan_is_read_for_the_quality_check_to_name(tmp_path):
    assert np.isnan(read_traces(write(tmp_path, HEAD + "1,nan\n2,3\n"))[0, 1])


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "empty"),
        ("\n \n", "no numbers"),
        (HEAD, "no numbers"),
        ("# sample_interval_ns: 0.02\n1,2\n", "whether its rows are traces or samples"),
        ("# rows: columns\n1,2\n", "row 1: 'rows' must be"),
        ("# rows: traces\n# sample_interval_ns: fast\n1,2\n", "row 2: the sample interval .* 'fast'"),
        ("# rows: traces\n# sample_interval_ns: -1\n1,2\n", "row 2: the sample interval"),
        (HEAD + "1,2\n3,x4\n", "row 4: 'x4' is not a number"),
        (HEAD + "1,2\n3,\n", "row 4 has 1 numbers, but the first row has 2"),
        (HEAD + "1,2\n3,4,5\n", "row 4 has 3 numbers, but the first row has 2"),
        (HEAD + "1,,2\n", "row 3: '' is not a number"),
        (HEAD + "1.5.2 2\n", "is not a number"),
    ],
)
def test_refused_with_a_sentence_that_names_file_and_row(tmp_path, content, words):
    path = write(tmp_path, content)
    with pytest.raises(SurveyError, match=words) as caught:
        read_traces(path)
    assert path.name in str(caught.value)


def test_other_encodings_are_refused(tmp_path):
    path = write(tmp_path, "# rows: traces\n# Größe\n1,2\n", encoding="latin-1")
    with pytest.raises(SurveyError, match="UTF-8"):
        read_traces(path)


def test_size_is_limited_before_anything_is_allocated(tmp_path, monkeypatch):
    path = write(tmp_path, HEAD + "1,2\n3,4\n")
    monkeypatch.setattr(text, "MAX_SAMPLES", 3)
    with pytest.raises(SurveyError, match="too large: 2 rows of 2 numbers"):
        read_header(path, 0.02)
    monkeypatch.setattr(text, "MAX_BYTES", 10)
    with pytest.raises(SurveyError, match="too large"):
        read_traces(path)
