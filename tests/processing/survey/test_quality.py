"""What the samples of a line give away."""

import numpy as np
import pytest

from inslab.processing.survey.quality import check_traces


def sound_traces(shape=(40, 100)):
    return np.random.default_rng(0).normal(0.0, 100.0, shape).astype(np.float32)


def test_sound_traces_have_no_findings():
    assert check_traces(sound_traces()) == []


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_one_sample_that_is_no_number(value):
    traces = sound_traces()
    traces[6, 41] = value
    ((severity, text),) = check_traces(traces)
    assert severity == "error"
    assert text.startswith("1 sample is")
    assert "sample 42 of trace 7" in text


def test_infinities_of_both_signs_do_not_cancel():
    traces = sound_traces()
    traces[0, :2] = np.inf, -np.inf
    assert check_traces(traces)[0][0] == "error"


def test_dead_traces():
    traces = sound_traces()
    traces[3] = 0.0
    traces[9] = 5.0
    ((severity, text),) = check_traces(traces)
    assert severity == "warning"
    assert "2 of 40 traces are dead" in text
    assert "trace 4" in text


def test_dead_traces_at_the_extreme_are_not_called_clipped():
    traces = sound_traces()
    traces[:5] = 1e6
    ((severity, text),) = check_traces(traces)
    assert severity == "warning"
    assert "5 of 40 traces are dead" in text


def test_all_dead():
    assert check_traces(np.zeros((4, 5), dtype=np.float32))[0][0] == "error"


def test_clipped_traces():
    ((severity, text),) = check_traces(np.clip(4.0 * np.sin(np.linspace(0, 30, 200)) * np.ones((10, 1)), -1.0, 1.5))
    assert severity == "warning"
    assert "10 of 10 traces are clipped at -1 or 1.5" in text


def test_peaks_that_merely_touch_the_extreme_are_not_clipped():
    traces = np.zeros((10, 50), dtype=np.float32)
    traces[:, 20:22] = 7.0
    traces[:, 30] = -3.0
    assert check_traces(traces) == []


@pytest.mark.parametrize("shape", [(2, 1), (2, 2), (1, 2)])
def test_few_samples(shape):
    assert [severity for severity, _ in check_traces(np.arange(4.0)[: shape[0] * shape[1]].reshape(shape))] in (
        [],
        ["error"],
    )
