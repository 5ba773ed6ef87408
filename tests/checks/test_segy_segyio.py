"""Our reader and writer against segyio (equinor), an independent SEG-Y library."""

import numpy as np
import pytest

from inslab.processing.survey.formats.registry import read_header, read_traces
from inslab.processing.survey.formats.segy import write_segy

segyio = pytest.importorskip(
    "segyio", reason="segyio is not installed: no comparison with an independent SEG-Y library"
)

FORMATS = {"ibm": 1, "int32": 2, "int16": 3, "float32": 5}
SHAPES = [(1, 1), (1, 7), (5, 1), (4, 9), (9, 4)]


def amplitudes(shape, sample_format):
    random = np.random.default_rng(shape[0] * 100 + shape[1])
    values = random.normal(0.0, 1000.0, shape)
    return np.rint(values) if sample_format.startswith("int") else values.astype(np.float32)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("little_endian", [False, True])
@pytest.mark.parametrize("revision", [0, 1, 2])
@pytest.mark.parametrize("sample_format", FORMATS)
def test_segyio_reads_what_we_write(tmp_path, sample_format, revision, little_endian, shape):
    traces = amplitudes(shape, sample_format)
    positions = np.column_stack([np.arange(shape[0]) * 0.02, np.full(shape[0], 0.25)])
    path = tmp_path / "Deckenprüfung_中.sgy"
    write_segy(
        path,
        traces,
        0.016,
        revision=revision,
        sample_format=sample_format,
        positions_m=positions,
        little_endian=little_endian,
    )
    with segyio.open(path, ignore_geometry=True, endian="little" if little_endian else "big") as file:
        assert file.tracecount == shape[0]
        assert file.bin[segyio.BinField.Format] == FORMATS[sample_format]
        assert file.bin[segyio.BinField.Interval] == 16
        read = file.trace.raw[:]
        assert np.array_equal(read, read_traces(path))
        np.testing.assert_allclose(read, traces, rtol=2**-20 if sample_format == "ibm" else 1e-7)
        assert list(file.attributes(segyio.TraceField.SourceX)) == list(range(0, 200 * shape[0], 200))
        assert set(file.attributes(segyio.TraceField.GroupY)) == {2500}
        assert set(file.attributes(segyio.TraceField.SourceGroupScalar)) == {-10000}


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("endian", ["big", "little"])
@pytest.mark.parametrize("sample_format", FORMATS)
def test_we_read_what_segyio_writes(tmp_path, sample_format, endian, shape):
    """segyio marks neither revision nor byte order, so these are revision 0 files of both byte orders."""
    traces = amplitudes(shape, sample_format)
    spec = segyio.spec()
    spec.format, spec.endian = FORMATS[sample_format], endian
    spec.samples, spec.tracecount = list(range(shape[1])), shape[0]
    path = tmp_path / "line.sgy"
    dtype = {"int32": np.int32, "int16": np.int16}.get(sample_format, np.float32)
    with segyio.create(path, spec) as file:
        file.bin.update({segyio.BinField.Interval: 40})
        for number, trace in enumerate(traces.astype(dtype)):
            file.trace[number] = trace
            file.header[number] = {
                segyio.TraceField.SourceX: 1000 + 20 * number,
                segyio.TraceField.SourceY: 250,
                segyio.TraceField.SourceGroupScalar: -1000,
            }
    header = read_header(path)
    assert (header.trace_count, header.sample_count) == shape
    assert header.sample_interval_ns == 0.04
    np.testing.assert_allclose(read_traces(path), traces, rtol=2**-20 if sample_format == "ibm" else 1e-7)
    if shape[0] > 1:
        expected = np.column_stack([1.0 + 0.02 * np.arange(shape[0]), np.full(shape[0], 0.25)])
        np.testing.assert_allclose(header.positions_m, expected, atol=1e-12)


def test_ibm_values_over_the_whole_range_agree(tmp_path):
    """All exponents that a float32 holds; segyio decodes the same words on its own."""
    exponents = np.arange(-120, 120)
    values = (np.ldexp(1.37, exponents) * np.where(exponents % 2, -1.0, 1.0)).reshape(8, 30)
    path = tmp_path / "line.sgy"
    write_segy(path, values, 0.016, revision=1, sample_format="ibm")
    with segyio.open(path, ignore_geometry=True) as file:
        assert np.array_equal(file.trace.raw[:], read_traces(path))
    np.testing.assert_allclose(read_traces(path), values, rtol=2**-20)
