"""Real SEG-Y files, carried by the ObsPy package (LGPL-3), with samples that another program decoded (`.npy` beside each).

Origin of the files: ``obspy/io/segy/tests/data/readme.txt``. They hold one trace each, from both byte orders and three
sample formats, with odd headers: scalars 0, -10, -100 and 82, a malformed revision word, little-endian files without any
mark, IBM floats that are not normalised. They are seismic: only decoding is checked, not whether they are plausible radar.
"""

from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from inslab.processing.common.errors import SurveyError
from inslab.processing.survey.formats.registry import read_header, read_traces
from inslab.processing.survey.formats.segy_layout import read_layout

_SPEC = find_spec("obspy")  # finds the package without importing it: its own needs are not installed
pytestmark = pytest.mark.skipif(_SPEC is None, reason="ObsPy is not installed: no comparison with real SEG-Y files")

# File: byte order, format code, samples, interval field, sum of the samples (read with another program).
FILES = {
    "00001034.sgy_first_trace": ("<", 1, 2001, 2000, -5.23964339e-09),
    "1.sgy_first_trace": (">", 2, 8000, 250, -26121.0),
    "example.y_first_trace": (">", 3, 500, 2000, 2537.0),
    "ld0042_file_00018.sgy_first_trace": (">", 1, 2050, 2000, -8464.0),
    "planes.segy_first_trace": ("<", 1, 512, 4000, 0.0001966723),
    "one_trace_year_11.sgy": (">", 2, 8000, 250, -26121.0),
    "one_trace_year_99.sgy": (">", 2, 8000, 250, -26121.0),
}


@pytest.mark.parametrize("name", FILES)
def test_samples_equal_those_of_another_program(name):
    order, code, samples, interval, total = FILES[name]
    path = Path(_SPEC.origin).parent / "io" / "segy" / "tests" / "data" / name
    layout = read_layout(path)
    assert (layout.order, layout.format_code, layout.revision) == (order, code, 0)
    header = read_header(path)
    assert (header.trace_count, header.sample_count) == (1, samples)
    assert header.sample_interval_ns == interval / 1000.0  # the field read as picoseconds
    assert header.positions_m is None  # one trace: nothing varies
    traces = read_traces(path)
    assert traces.shape == (1, samples)
    expected = np.load(f"{path}.npy")
    assert np.array_equal(traces[0], expected.astype(np.float32).ravel())
    assert traces.sum(dtype=np.float64) == pytest.approx(total, rel=1e-6)


@pytest.mark.parametrize("name", ["1.su_first_trace", "one_trace_year_11.su", "one_trace_year_99.su"])
def test_seismic_unix_is_refused(name):
    """Traces as in SEG-Y, but without its two headers: nothing says that they are no other numbers."""
    path = Path(_SPEC.origin).parent / "io" / "segy" / "tests" / "data" / name
    with pytest.raises(SurveyError, match=f"{name} is neither SEG-Y nor delimited text"):
        read_traces(path)
