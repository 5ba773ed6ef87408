"""Which format reads a file."""

import numpy as np
import pytest

from inslab.processing.common.errors import SurveyError
from inslab.processing.survey.formats.registry import FORMATS, read_header, read_traces
from inslab.processing.survey.formats.segy import write_segy


@pytest.mark.parametrize("name", ["line.sgy", "LINE.SEGY", "line.segy_first", "line"])
def test_segy_by_suffix_or_content(tmp_path, name):
    write_segy(tmp_path / name, np.ones((2, 3)), 0.02)
    assert read_traces(tmp_path / name).shape == (2, 3)


@pytest.mark.parametrize("name", ["line.csv", "line.TXT", "line.data", "line"])
def test_text_by_suffix_or_content(tmp_path, name):
    (tmp_path / name).write_text("# rows: traces\n1 2 3\n4 5 6\n", encoding="utf-8")
    assert read_traces(tmp_path / name).shape == (2, 3)


def test_suffix_decides_which_reader_complains(tmp_path):
    path = tmp_path / "line.sgy"
    path.write_text("no radar at all", encoding="utf-8")
    with pytest.raises(SurveyError, match="SEG-Y begins with 3600 bytes"):
        read_header(path)


def test_unknown_content(tmp_path):
    path = tmp_path / "line.bin"
    path.write_bytes(bytes(range(256)) * 20)
    with pytest.raises(SurveyError, match=r"line\.bin is neither SEG-Y nor delimited text"):
        read_header(path)


def test_a_folder_is_no_file(tmp_path):
    (tmp_path / "line.sgy").mkdir()
    with pytest.raises(SurveyError, match="not a plain file"):
        read_header(tmp_path / "line.sgy")


@pytest.mark.parametrize("content", [None, b"", b"\0", b"\xff\xfe\0", b"\n", bytes(4000), b"\xc3" * 5000])
def test_recognising_never_raises(tmp_path, content):
    path = tmp_path / "line"
    if content is not None:
        path.write_bytes(content)
    for entry in FORMATS:
        assert entry.recognises(path) is False


def test_text_whose_first_block_ends_inside_a_character_is_recognised(tmp_path):
    path = tmp_path / "line"
    path.write_bytes(b"# rows: traces\n#".ljust(4095) + "ä\n1 2\n".encode())
    assert read_traces(path).tolist() == [[1, 2]]
