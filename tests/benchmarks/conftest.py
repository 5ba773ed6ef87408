"""One area to measure with: 44 lines of 51 traces and 800 samples for each dipole axis, over a mat of bars."""

import resource
import tracemalloc

import numpy as np
import pytest
from synthetic import (
    FREQUENCY_GHZ,
    INTERVAL_NS,
    REFERENCE_NS,
    SEPARATION_M,
    bar_paths,
    echo,
    grid_of_lines,
    ricker,
    wave_speed,
)

from inslab.processing.radar.preprocessing import prepare_area
from inslab.processing.survey.formats.segy import write_segy
from inslab.processing.survey.model import ScanArea, ScanLine

SAMPLES, TRACES, SIZE_M, SPACING_M = 800, 51, 1.0, 0.0999


@pytest.fixture(scope="session")
def area(tmp_path_factory):
    """A scan area of 22 passes with both dipole axes, in SEG-Y files."""
    folder = tmp_path_factory.mktemp("benchmark")
    random = np.random.default_rng(1)
    time = np.arange(SAMPLES) * INTERVAL_NS - REFERENCE_NS
    places = np.arange(0.1, 1.0, 0.15)
    lines = []
    for line_id, start, end in grid_of_lines((SIZE_M, SIZE_M), SPACING_M):
        for axis in ("across", "along"):
            traces = np.tile(-ricker(time), (TRACES, 1)) + random.normal(0, 0.02, (TRACES, SAMPLES))
            for place in places:
                bar = (place, 0.0, 0.05) if line_id[0] == "x" else (0.0, place, 0.065)
                along = (0.0, 1.0, 0.0) if line_id[0] == "x" else (1.0, 0.0, 0.0)
                traces += echo(time, bar_paths(start, end, TRACES, axis, bar, along, 0.008), -0.2)
            path = folder / f"{line_id}_{axis}.sgy"
            write_segy(path, (10000 * traces).astype(np.float32), INTERVAL_NS)
            lines.append(ScanLine("A1", line_id, axis, path, start, end, TRACES, SAMPLES, INTERVAL_NS))
    return ScanArea("A1", "L1", "top", SEPARATION_M, 1000 * FREQUENCY_GHZ, lines=tuple(lines))


@pytest.fixture(scope="session")
def prepared(area):
    return prepare_area(area)


@pytest.fixture(scope="session")
def speed():
    return wave_speed()


@pytest.fixture
def measure(benchmark, area, request):
    """Run a step some times; print lines per second, peak memory, and the time as a multiple of the two yardsticks."""

    def run(step, *arguments, rounds=3):
        benchmark.pedantic(step, arguments, rounds=rounds, warmup_rounds=min(rounds - 1, 1))
        seconds = benchmark.stats["min"]
        tracemalloc.start()
        step(*arguments)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        benchmark.extra_info["lines_per_second"] = round(len(area.lines) / seconds, 1)
        benchmark.extra_info["peak_MB"] = round(peak / 1e6, 1)
        print(
            f"\n{request.node.name}: {seconds:.3f} s, {len(area.lines) / seconds:.0f} lines a second, peak {peak / 1e6:.0f} MB "
            f"(process so far {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3:.0f} MB)"
        )
        return seconds

    return run


@pytest.fixture(scope="session")
def yardstick(area):
    """Seconds to read all files of the area and to do one rfft and irfft of its traces, padded to twice their length."""
    from time import perf_counter

    def read():
        return [line.read_traces() for line in area.lines]

    def transform(every):
        for traces in every:
            np.fft.irfft(np.fft.rfft(traces, 2 * SAMPLES, axis=1), 2 * SAMPLES, axis=1)

    every = read()
    best = [np.inf, np.inf]
    for _ in range(5):
        for number, (step, arguments) in enumerate(((read, ()), (transform, (every,)))):
            start = perf_counter()
            step(*arguments)
            best[number] = min(best[number], perf_counter() - start)
    print(f"\nyardsticks: reading {best[0]:.3f} s, rfft and irfft {best[1]:.3f} s for {len(area.lines)} lines")
    return best
