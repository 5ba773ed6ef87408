"""Where SEG-Y keeps its values: header layouts and sample formats.

Byte positions are those of the SEG-Y revisions 0 (1975), 1 (2002) and 2.0/2.1 (2017, 2023); comments give the
standard's own numbers, which count from 1 (the binary header from 3201). Everything is decoded with numpy alone:
a further package would be a hurdle inside a QGIS installation, and the format is small.
"""

import numpy as np

from ...common.language import tr

TEXT_BYTES = 3200
BINARY_BYTES = 400
FILE_HEADER_BYTES = TEXT_BYTES + BINARY_BYTES
TRACE_HEADER_BYTES = 240

BIG, LITTLE = ">", "<"

# Format code at bytes 3225-3226 -> name; the readable ones have a numpy type of one word.
SAMPLE_FORMATS = {
    1: tr("IBM float (4 bytes)"),
    2: tr("integer (4 bytes)"),
    3: tr("integer (2 bytes)"),
    4: tr("fixed point with gain (4 bytes)"),
    5: tr("float (4 bytes)"),
    6: tr("float (8 bytes)"),
    7: tr("integer (3 bytes)"),
    8: tr("integer (1 byte)"),
    9: tr("integer (8 bytes)"),
    10: tr("unsigned integer (4 bytes)"),
    11: tr("unsigned integer (2 bytes)"),
    12: tr("unsigned integer (8 bytes)"),
    15: tr("unsigned integer (3 bytes)"),
    16: tr("unsigned integer (1 byte)"),
}
SAMPLE_TYPES = {1: "u4", 2: "i4", 3: "i2", 5: "f4"}
IBM_FLOAT = 1
SAMPLE_LIMITS = {1: (-7.2e75, 7.2e75), 2: (-(2**31), 2**31 - 1), 3: (-(2**15), 2**15 - 1), 5: (-3.4e38, 3.4e38)}
FORMAT_CODES = {"ibm": 1, "int32": 2, "int16": 3, "float32": 5}


def _layout(first_byte: int, size: int, fields: dict) -> np.dtype:
    return np.dtype(
        {
            "names": list(fields),
            "offsets": [byte - first_byte for byte, _ in fields.values()],
            "formats": [kind for _, kind in fields.values()],
            "itemsize": size,
        }
    )


_BINARY = _layout(
    3201,
    BINARY_BYTES,
    {
        "line_number": (3205, "i4"),
        "traces_per_ensemble": (3213, "i2"),
        "interval": (3217, "u2"),  # microseconds by the standard, picoseconds by radar convention
        "samples": (3221, "u2"),
        "format": (3225, "i2"),
        "sorting": (3229, "i2"),
        "measurement_system": (3255, "i2"),  # 1 metres, 2 feet
        "extended_samples": (3269, "i4"),  # revision 2, as all 'extended' ones
        "extended_interval_us": (3273, "f8"),
        "byte_order": (3297, "i4"),
        "major": (3501, "u1"),
        "minor": (3502, "u1"),
        "fixed_length": (3503, "i2"),
        "extra_text_headers": (3505, "i2"),
        "extra_trace_headers_2_0": (3507, "i4"),
        "extra_trace_headers_2_1": (3507, "i2"),
        "traces": (3513, "u8"),
        "first_trace_byte": (3521, "u8"),
        "trailers": (3529, "i4"),
    },
)
_TRACE = _layout(
    1,
    TRACE_HEADER_BYTES,
    {
        "sequence_in_line": (1, "i4"),
        "sequence_in_file": (5, "i4"),
        "field_record": (9, "i4"),
        "trace_in_record": (13, "i4"),
        "cdp": (21, "i4"),
        "trace_in_cdp": (25, "i4"),
        "kind": (29, "i2"),  # 1 = recorded data
        "coordinate_scalar": (71, "i2"),
        "source_x": (73, "i4"),
        "source_y": (77, "i4"),
        "group_x": (81, "i4"),
        "group_y": (85, "i4"),
        "coordinate_units": (89, "i2"),  # 1 length, 2 to 4 angles
        "samples": (115, "u2"),
        "interval": (117, "u2"),
        "cdp_x": (181, "i4"),  # revision 1
        "cdp_y": (185, "i4"),
    },
)
BYTE_ORDER_CONSTANT = 0x01020304


def binary_layout(order: str) -> np.dtype:
    """The binary file header (400 bytes) in one byte order."""
    return _BINARY.newbyteorder(order)


def trace_layout(order: str, format_code: int, sample_count: int, extra_headers: int = 0) -> np.dtype:
    """One trace: `header`, `extra` (further headers, not decoded) and `samples`, shape (sample,), in one byte order."""
    fields = [("header", _TRACE)]
    if extra_headers:
        fields.append(("extra", f"V{TRACE_HEADER_BYTES * extra_headers}"))
    fields.append(("samples", SAMPLE_TYPES[format_code], (sample_count,)))
    return np.dtype(fields).newbyteorder(order)


# Value of each sign-and-exponent byte of an IBM float, for a fraction counted in units of 2**-24.
_IBM_SCALE = np.ldexp(1.0, 4 * (np.arange(128) - 64) - 24)
_IBM_SCALE = np.concatenate([_IBM_SCALE, -_IBM_SCALE])


def decode_ibm(words: np.ndarray) -> np.ndarray:
    """IBM single precision words (uint32, any byte order and shape) as float64; also unnormalised ones.

    Value = sign * fraction * 16**(exponent - 64) with a fraction of 24 bits (IBM System/370 Principles of Operation).
    """
    words = words.astype(np.uint32)
    return _IBM_SCALE[words >> np.uint32(24)] * (words & np.uint32(0xFFFFFF))


def encode_ibm(values: np.ndarray) -> np.ndarray:
    """Finite numbers (any shape, magnitude below 7.2e75) as IBM single precision words, uint32, rounded to nearest."""
    values = np.asarray(values, dtype=np.float64)
    fraction, power = np.frexp(np.abs(values))
    exponent = -(-power.astype(np.int64) // 4)  # the power of 16 that leaves a fraction in [1/16, 1)
    counts = np.rint(np.ldexp(fraction, power - 4 * exponent + 24)).astype(np.int64)
    carried = counts == 1 << 24  # rounded up to 1.0: one hexadecimal digit more
    counts = np.where(carried, counts >> 4, counts)
    exponent = exponent + carried + 64
    words = (exponent << 24) | counts | np.where(values < 0, 1 << 31, 0)
    # Below the smallest exponent nothing is left but zero.
    return np.where((counts == 0) | (exponent < 0), 0, words).astype(np.uint32)
