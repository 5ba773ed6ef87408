"""SEG-Y files of every kind read, written and refused."""

import os
import struct

import numpy as np
import pytest

from inslab.processing.common.errors import SurveyError
from inslab.processing.survey.formats.registry import read_header, read_traces
from inslab.processing.survey.formats.segy import write_segy
from inslab.processing.survey.formats.segy_layout import is_segy

SHAPES = [(1, 1), (1, 7), (5, 1), (4, 9), (9, 4)]
TRACE_BYTES = 240 + 4 * 6  # of the file that `line` writes


@pytest.fixture
def line(tmp_path):
    """A revision 2 file of 5 traces of 6 float32 samples."""
    path = tmp_path / "line.sgy"
    write_segy(path, np.arange(30.0).reshape(5, 6), 0.02)
    return path


def patch(path, byte, kind, *values):
    """Overwrite big-endian values at a byte that counts from 1."""
    raw = bytearray(path.read_bytes())
    struct.pack_into(">" + kind, raw, byte - 1, *values)
    path.write_bytes(raw)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("little_endian", [False, True])
@pytest.mark.parametrize("revision", [0, 1, 2])
@pytest.mark.parametrize("sample_format", ["float32", "int16", "int32", "ibm"])
def test_round_trip(tmp_path, sample_format, revision, little_endian, shape):
    traces = np.arange(-3.0, shape[0] * shape[1] - 3.0).reshape(shape)  # whole numbers: every format holds them
    positions = np.column_stack([0.25 + 0.0123 * np.arange(shape[0]), -0.5 * np.arange(shape[0])])
    path = tmp_path / "Geschoßdecke 床.sgy"
    write_segy(
        path,
        traces,
        0.025,
        revision=revision,
        sample_format=sample_format,
        positions_m=positions,
        little_endian=little_endian,
    )
    header = read_header(path)
    assert (header.trace_count, header.sample_count) == shape
    assert header.sample_interval_ns == pytest.approx(0.025, rel=1e-12)
    assert header.notes == ()
    if shape[0] == 1:
        assert header.positions_m is None
    else:
        np.testing.assert_allclose(header.positions_m, positions, atol=0.5e-4)
    read = read_traces(path)
    assert read.dtype == np.float32
    assert np.array_equal(read, traces)
    assert not list(tmp_path.glob("*.part"))


def test_revision_1_little_endian_with_its_revision_word_swapped(tmp_path):
    """Revision 1 shows in the CDP coordinates being read; here they stand alone."""
    path = tmp_path / "line.sgy"
    positions = [[0.0, 0.5], [0.1, 0.5], [0.2, 0.5]]
    write_segy(path, np.ones((3, 4)), 0.02, revision=1, little_endian=True, positions_m=positions)
    patch(path, 3501, "BB", 0, 1)
    for trace in range(3):
        patch(path, 3600 + trace * (240 + 16) + 73, "4i", 0, 0, 0, 0)
    np.testing.assert_allclose(read_header(path).positions_m, positions, atol=1e-12)


def test_more_samples_than_the_short_field_holds(tmp_path):
    path = tmp_path / "line.sgy"
    traces = np.arange(2.0 * 70000).reshape(2, 70000)
    write_segy(path, traces, 0.001)
    assert np.array_equal(read_traces(path), traces)
    with pytest.raises(SurveyError, match="65535 samples"):
        write_segy(path, traces, 0.001, revision=1)


def test_sample_count_of_the_trace_header_where_the_file_header_has_none(line):
    patch(line, 3269, "i", 0)
    patch(line, 3221, "H", 0)
    assert read_header(line).sample_count == 6


def test_files_larger_than_one_block_are_read_whole(tmp_path):
    path = tmp_path / "line.sgy"
    traces = np.arange(700 * 2000.0).reshape(700, 2000) % 4096
    write_segy(path, traces, 0.02, sample_format="ibm")
    assert np.array_equal(read_traces(path), traces)


class TestSampleInterval:
    def test_extended_field_wins(self, line):
        patch(line, 3217, "H", 4000)
        header = read_header(line)
        assert header.sample_interval_ns == pytest.approx(0.02)
        assert "3273" in header.interval_source

    @pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
    def test_unusable_extended_field_falls_back_to_picoseconds(self, line, value):
        patch(line, 3273, "d", value)
        header = read_header(line)
        assert header.sample_interval_ns == 0.02
        assert "picoseconds" in header.interval_source

    def test_extended_field_counts_in_revision_2_only(self, line):
        patch(line, 3273, "d", 1.0)
        patch(line, 3501, "BB", 1, 0)
        assert read_header(line).sample_interval_ns == 0.02

    def test_trace_header_where_the_file_header_has_none(self, line):
        patch(line, 3273, "d", 0.0)
        patch(line, 3217, "H", 0)
        assert read_header(line).sample_interval_ns == 0.02
        assert "first trace" in read_header(line).interval_source

    def test_contradiction_is_noted(self, line):
        patch(line, 3273, "d", 0.0)
        patch(line, 3600 + 117, "H", 40)
        assert any("20 in its file header and 40 in its traces" in note for note in read_header(line).notes)

    def test_override_wins_and_is_named(self, line):
        header = read_header(line, 0.5)
        assert header.sample_interval_ns == 0.5
        assert "the parameter 'Sample interval'" in header.interval_source

    def test_none_at_all(self, line):
        patch(line, 3273, "d", 0.0)
        patch(line, 3217, "H", 0)
        patch(line, 3600 + 117, "H", 0)
        with pytest.raises(SurveyError, match="no sample interval"):
            read_header(line)
        assert read_header(line, 0.02).sample_interval_ns == 0.02


class TestLayout:
    def test_extended_text_headers_are_skipped(self, line):
        raw = line.read_bytes()
        expected = read_traces(line)
        line.write_bytes(raw[:3600] + b"\x40" * 6400 + raw[3600:])
        patch(line, 3505, "h", 2)
        patch(line, 3521, "Q", 0)
        assert np.array_equal(read_traces(line), expected)

    @pytest.mark.parametrize("encoding", ["ascii", "cp037"])
    def test_extended_text_headers_of_unknown_number_end_with_their_mark(self, line, encoding):
        raw = line.read_bytes()
        expected = read_traces(line)
        extra = ("text".ljust(3200) + "((SEG: EndText))".ljust(3200)).encode(encoding)
        line.write_bytes(raw[:3600] + extra + raw[3600:])
        patch(line, 3505, "h", -1)
        patch(line, 3521, "Q", 0)
        assert np.array_equal(read_traces(line), expected)

    def test_extended_text_headers_without_end(self, line):
        patch(line, 3505, "h", -1)
        patch(line, 3521, "Q", 0)
        with pytest.raises(SurveyError, match="end mark"):
            read_header(line)

    def test_byte_offset_of_first_trace(self, line):
        raw = line.read_bytes()
        expected = read_traces(line)
        line.write_bytes(raw[:3600] + b"\0" * 123 + raw[3600:])
        patch(line, 3521, "Q", 3723)
        assert np.array_equal(read_traces(line), expected)

    @pytest.mark.parametrize(("minor", "kind"), [(0, "i"), (1, "h")])
    def test_additional_trace_headers_are_skipped(self, line, minor, kind):
        """The field is 32 bits wide in revision 2.0, 16 bits in 2.1."""
        raw = line.read_bytes()
        expected = read_traces(line)
        traces = [raw[start : start + TRACE_BYTES] for start in range(3600, len(raw), TRACE_BYTES)]
        line.write_bytes(raw[:3600] + b"".join(trace[:240] + b"\xff" * 480 + trace[240:] for trace in traces))
        patch(line, 3501, "BB", 2, minor)
        patch(line, 3507, kind, 2)
        assert np.array_equal(read_traces(line), expected)

    def test_trailers_are_skipped(self, line):
        expected = read_traces(line)
        line.write_bytes(line.read_bytes() + b"\x40" * 3200)
        patch(line, 3529, "i", 1)
        assert np.array_equal(read_traces(line), expected)

    def test_one_wrong_length_in_all_traces_is_harmless(self, line):
        """The file's size fits its file header; files cut by a program that forgot the trace headers are such."""
        for trace in range(5):
            patch(line, 3600 + trace * TRACE_BYTES + 115, "H", 462)
        assert read_traces(line).shape == (5, 6)


REFUSED = {
    "format": (lambda path: patch(path, 3225, "h", 6), "format 6, float"),
    "no format": (lambda path: patch(path, 3225, "h", 0), "not SEG-Y"),
    "constant swapped in pairs": (lambda path: patch(path, 3297, "I", 0x02010403), "swapped in pairs"),
    "constant against format": (lambda path: patch(path, 3297, "I", 0x04030201), "contradict"),
    "no sample count": (
        lambda path: [patch(path, byte, kind, 0) for byte, kind in ((3269, "i"), (3221, "H"), (3715, "H"))],
        "how many samples",
    ),
    "huge sample count": (lambda path: patch(path, 3269, "i", 2**31 - 1), "truncated"),
    "huge trace count": (lambda path: patch(path, 3513, "Q", 2**64 - 1), "truncated"),
    "huge offset": (lambda path: patch(path, 3521, "Q", 2**64 - 1), "no trace"),
    "offset inside headers": (lambda path: patch(path, 3521, "Q", 400), "inside the headers"),
    "negative text headers": (lambda path: [patch(path, 3505, "h", -7), patch(path, 3521, "Q", 0)], "-7 extended"),
    "negative trace headers": (lambda path: patch(path, 3507, "i", -1), "-1 additional"),
    "unequal traces": (lambda path: patch(path, 3600 + TRACE_BYTES + 115, "H", 5), "6 and of 5 samples"),
    "bytes behind": (
        lambda path: path.write_bytes(path.read_bytes() + b"\0" * TRACE_BYTES),
        "bytes follow the 5 traces",
    ),
    "last trace cut": (lambda path: path.write_bytes(path.read_bytes()[:-3]), "5 traces, but only 4 are complete"),
    "cut, count not stated": (
        lambda path: [path.write_bytes(path.read_bytes()[:-3]), patch(path, 3513, "Q", 0)],
        "after 4 complete traces of 6 samples, 261 bytes remain",
    ),
    "no trace": (lambda path: path.write_bytes(path.read_bytes()[:3600]), "contains no trace"),
    "headers cut": (lambda path: path.write_bytes(path.read_bytes()[:3400]), "3400 bytes"),
    "empty": (lambda path: path.write_bytes(b""), "empty"),
    "missing": (lambda path: path.unlink(), "missing"),
}


@pytest.mark.parametrize(("spoil", "words"), REFUSED.values(), ids=REFUSED.keys())
def test_refused_with_a_sentence_that_names_the_file(line, spoil, words):
    spoil(line)
    for read in (read_header, read_traces):
        with pytest.raises(SurveyError, match=words) as caught:
            read(line)
        assert line.name in str(caught.value)


def test_a_line_larger_than_the_limit_is_refused_before_it_is_read(tmp_path):
    """A sparse file of 2 GiB whose header fits its size."""
    path = tmp_path / "line.sgy"
    write_segy(path, np.zeros((1, 1)), 0.02)
    patch(path, 3269, "i", 2**29)
    os.truncate(path, 3600 + 240 + 4 * 2**29)
    with pytest.raises(SurveyError, match="too large"):
        read_traces(path)


def test_damaged_headers_never_raise_anything_else(line):
    """400 files with three random bytes of their headers changed: each is read, or refused by name."""
    good = line.read_bytes()
    random = np.random.default_rng(2)
    complaints = []
    for _ in range(400):
        raw = bytearray(good)
        for place in random.integers(3200, 3600 + 240, 3):
            raw[place] = random.integers(256)
        line.write_bytes(raw)
        is_segy(line)
        try:
            assert read_traces(line).shape[0] == read_header(line).trace_count
        except SurveyError as error:
            complaints.append(str(error))
    assert 0 < len(complaints) < 400
    assert all(line.name in complaint for complaint in complaints)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_refused_instead_of_waited_for(tmp_path):
    path = tmp_path / "line.sgy"
    os.mkfifo(path)
    assert not is_segy(path)
    with pytest.raises(SurveyError, match="not a plain file"):
        read_header(path)


class TestWriting:
    @pytest.mark.parametrize(
        ("traces", "options", "words"),
        [
            (np.ones(4), {}, "shape"),
            (np.ones((0, 4)), {}, "shape"),
            ([[1.0, np.nan]], {}, "not finite"),
            ([[1.0, 40000.0]], {"sample_format": "int16"}, "do not fit"),
            ([[1.0, 3e9]], {"sample_format": "int32"}, "do not fit"),
            ([[1.0, 1e39]], {"sample_format": "float32"}, "do not fit"),
            ([[1.0, 1e76]], {"sample_format": "ibm"}, "do not fit"),
            ([[1.0, 2.0]], {"positions_m": [[0.0, 0.0], [1.0, 0.0]]}, "one pair per trace"),
            ([[1.0, 2.0]], {"positions_m": [[0.0, np.inf]]}, "finite"),
            ([[1.0, 2.0]], {"text_header": "\n" * 60}, "38 lines"),
        ],
    )
    def test_what_does_not_fit_is_refused_and_leaves_the_old_file(self, line, traces, options, words):
        before = line.read_bytes()
        with pytest.raises(SurveyError, match=words):
            write_segy(line, traces, 0.02, **options)
        assert line.read_bytes() == before
        assert [path.name for path in line.parent.iterdir()] == [line.name]

    @pytest.mark.parametrize("interval_ns", [0.0, -0.1, float("nan")])
    def test_interval_must_be_above_zero(self, tmp_path, interval_ns):
        with pytest.raises(SurveyError, match="above zero"):
            write_segy(tmp_path / "line.sgy", np.ones((2, 2)), interval_ns)

    @pytest.mark.parametrize("interval_ns", [0.01953125, 70.0])
    def test_old_revisions_hold_whole_picoseconds_only(self, tmp_path, interval_ns):
        with pytest.raises(SurveyError, match="revision 2"):
            write_segy(tmp_path / "line.sgy", np.ones((2, 2)), interval_ns, revision=1)
        write_segy(tmp_path / "line.sgy", np.ones((2, 2)), interval_ns, revision=2)
        assert read_header(tmp_path / "line.sgy").sample_interval_ns == pytest.approx(interval_ns, rel=1e-15)

    def test_integers_are_rounded_to_the_nearest(self, tmp_path):
        write_segy(tmp_path / "line.sgy", np.array([[1.4, 1.6, -1.6, 32767.4]]), 0.02, sample_format="int16")
        assert read_traces(tmp_path / "line.sgy").tolist() == [[1.0, 2.0, -2.0, 32767.0]]

    def test_same_input_same_bytes(self, tmp_path):
        for name in ("a.sgy", "b.sgy"):
            write_segy(tmp_path / name, np.ones((2, 2)), 0.02)
        assert (tmp_path / "a.sgy").read_bytes() == (tmp_path / "b.sgy").read_bytes()
