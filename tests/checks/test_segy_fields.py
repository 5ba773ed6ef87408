"""SEG-Y words and byte positions against published values.

Byte positions: SEG-Y revision 1 (SEG Technical Standards Committee, May 2002) and 2.0 (2017), as listed alike in the
general libraries segyio (``segy.h``) and segy (PyPI). IBM words: closed form of the IBM System/370 single precision
format; -118.625 = C276A000 is the classic printed example (from memory).
"""

import struct

import numpy as np
import pytest

from inslab.processing.survey.formats.segy import read_header, write_segy
from inslab.processing.survey.formats.segy_fields import decode_ibm, encode_ibm

IBM_WORDS = {
    1.0: 0x41100000,
    -1.0: 0xC1100000,
    0.5: 0x40800000,
    0.1: 0x4019999A,
    100.0: 0x42640000,
    -118.625: 0xC276A000,
    3.141592653589793: 0x413243F7,
    16.0: 0x42100000,
    0.0: 0x00000000,
}


@pytest.mark.parametrize(("value", "word"), IBM_WORDS.items())
def test_ibm_words(value, word):
    assert int(encode_ibm(np.array(value))) == word
    assert decode_ibm(np.array(word, dtype=np.uint32)) == pytest.approx(value, rel=2**-21, abs=0.0)


def test_ibm_words_that_a_float32_holds_exactly_come_back_exactly():
    values = np.array([1.0, -1.0, 0.5, 100.0, -118.625, 16.0, 0.0])
    assert np.array_equal(decode_ibm(encode_ibm(values)), values)


def test_ibm_fraction_of_leading_zeros_is_decoded():
    """Unnormalised words occur in real files: 0.5 as 0x41080000, one hexadecimal digit shifted."""
    assert decode_ibm(np.array(0x41080000, dtype=np.uint32)) == 0.5


def test_ibm_rounding_up_carries_into_the_next_digit():
    """16 - 1e-7 needs 25 bits; the nearest word is that of 16."""
    assert int(encode_ibm(np.array(16.0 - 1e-7))) == 0x42100000


@pytest.mark.parametrize(
    ("interval_ns", "word"),
    [(0.01953125, "3ef47ae147ae147b"), (0.048828125, "3f0999999999999a"), (0.1, "3f1a36e2eb1c432d")],
)
def test_extended_sample_interval_in_microseconds(tmp_path, interval_ns, word):
    """Big-endian float64 words (IEEE 754, closed form) at bytes 3273-3280."""
    path = tmp_path / "line.sgy"
    write_segy(path, np.ones((2, 3)), interval_ns)
    assert path.read_bytes()[3272:3280].hex() == word
    assert read_header(path).sample_interval_ns == pytest.approx(interval_ns, rel=1e-15)


# Field: first byte (the standard counts from 1), type, revision that brought it, value in the file below.
BINARY_FIELDS = {
    "sample interval": (3217, "H", 0, 16),
    "samples per trace": (3221, "H", 0, 4),
    "sample format": (3225, "h", 0, 3),
    "measurement system, metres": (3255, "h", 0, 1),
    "revision": (3501, "BB", 1, None),
    "fixed trace length": (3503, "h", 1, 1),
    "extended text headers": (3505, "h", 1, 0),
    "extended samples per trace": (3269, "i", 2, 4),
    "extended sample interval": (3273, "d", 2, 16e-6),
    "byte-order constant": (3297, "i", 2, 16909060),
    "number of traces": (3513, "Q", 2, 3),
    "byte offset of first trace": (3521, "Q", 2, 3600),
}
TRACE_FIELDS = {
    "sequence in line": (1, "i", 0, 2),
    "sequence in file": (5, "i", 0, 2),
    "trace kind": (29, "h", 0, 1),
    "coordinate scalar": (71, "h", 0, -10000),
    "source x": (73, "i", 0, 1234),
    "source y": (77, "i", 0, -56789),
    "group x": (81, "i", 0, 1234),
    "group y": (85, "i", 0, -56789),
    "coordinate units, length": (89, "h", 0, 1),
    "samples in trace": (115, "H", 0, 4),
    "sample interval": (117, "H", 0, 16),
    "CDP x": (181, "i", 1, 1234),
    "CDP y": (185, "i", 1, -56789),
}


@pytest.mark.parametrize("little_endian", [False, True])
@pytest.mark.parametrize("revision", [0, 1, 2])
def test_written_fields_stand_where_the_standard_says(tmp_path, revision, little_endian):
    path = tmp_path / "line.sgy"
    positions = np.array([[0.0, 0.0], [0.1234, -5.6789], [0.3, -5.0]])
    write_segy(
        path,
        np.arange(12).reshape(3, 4),
        0.016,
        revision=revision,
        sample_format="int16",
        positions_m=positions,
        little_endian=little_endian,
    )
    raw = path.read_bytes()
    order = "<" if little_endian else ">"
    second_trace = 3600 + 240 + 4 * 2
    assert len(raw) == 3600 + 3 * (240 + 4 * 2)
    for fields, base in ((BINARY_FIELDS, 0), (TRACE_FIELDS, second_trace)):
        for name, (byte, kind, since, value) in fields.items():
            found = struct.unpack_from(order + kind, raw, base + byte - 1)
            if name == "revision":
                assert found == (revision, 0)
            elif since > revision:
                assert found == (0,), name
            else:
                assert found == (value,), name


def test_text_header_is_ebcdic_in_cards_of_80(tmp_path):
    """EBCDIC (code page 037): 'C' is C3, a blank 40; the standard's last card is 'C40 END TEXTUAL HEADER'."""
    path = tmp_path / "line.sgy"
    write_segy(path, np.ones((2, 3)), 0.016, text_header="First line\nAmplitudes in counts")
    raw = path.read_bytes()[:3200]
    assert raw[0] == 0xC3
    cards = [raw[start : start + 80].decode("cp037").rstrip() for start in range(0, 3200, 80)]
    assert cards[:2] == ["C 1 First line", "C 2 Amplitudes in counts"]
    assert cards[39] == "C40 END TEXTUAL HEADER"
