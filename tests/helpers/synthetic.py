"""Scan lines and prepared areas from closed forms: pulses at the times of straight paths, no code of the plugin in them.

Lengths are metres, times nanoseconds. The direct wave is a negative Ricker pulse, and so is the echo of metal.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy.optimize import minimize_scalar

from inslab.processing.radar.model import WaveSpeed
from inslab.processing.radar.preprocessing import PreparedArea, PreparedLine
from inslab.processing.survey.model import DIPOLE_AXES, ScanArea, ScanLine

FREQUENCY_GHZ, SEPARATION_M, SPEED_M_NS = 1.5, 0.06, 0.11
# Recorded instant of the direct wave's extremum, and how long after time zero it comes.
REFERENCE_NS, LAG_NS = 1.5, 0.3
INTERVAL_NS = 0.015
TRACE_STEP_M = 0.02
# Of the direct wave in the lines of `lines_of`.
SHIFTS_NS = (0.0, 0.0371, -0.0524, 0.0833, -0.0112)


@dataclass(frozen=True)
class HeldLine(ScanLine):
    """A line whose traces are held in memory instead of a file."""

    held: np.ndarray = field(default=None, compare=False, repr=False)

    def read_traces(self):
        return np.array(self.held, np.float32)


def ricker(time_ns, peak_ghz=FREQUENCY_GHZ):
    """Ricker 1953, Geophysics 18, 10-40: second derivative of a bell, peak 1 at time 0."""
    a = (np.pi * peak_ghz * np.asarray(time_ns)) ** 2
    return (1 - 2 * a) * np.exp(-a)


def shortest_path(transmitter, receiver, start, direction):
    """Length of the shortest path from one point to the other by way of a straight line, metres: Fermat's principle, by search.

    Points have x, y, depth; `direction` is a unit vector.
    """

    def length(s):
        touch = np.asarray(start) + s * np.asarray(direction)
        return np.linalg.norm(touch - transmitter) + np.linalg.norm(touch - receiver)

    return minimize_scalar(length, bracket=(-0.5, 0.5), tol=1e-12).fun


def held_line(traces, line_id="x1", axis="across", start=(0.0, 0.0), end=(0.5, 0.0), interval_ns=INTERVAL_NS):
    count, samples = np.shape(traces)
    return HeldLine(
        "A1", line_id, axis, Path(f"{line_id}_{axis}.sgy"), start, end, count, samples, interval_ns, held=traces
    )


def recorded(shift_ns, amplitude=1000.0, count=41, interval_ns=0.015, samples=600, seed=0, noise=1e-3, offset=25.0):
    """Traces with the direct wave's negative extremum 1.5 ns + shift into the record, a bar's echo and noise."""
    time = np.arange(samples) * interval_ns - 1.5 - shift_ns
    random = np.random.default_rng(seed)
    traces = np.tile(-ricker(time), (count, 1))
    bar = np.hypot(np.linspace(-0.25, 0.25, count), 0.06) * 2 / 0.11
    traces += -0.2 * ricker(time[None, :] + 0.3 - bar[:, None])
    return amplitude * (traces + random.normal(0, noise, traces.shape)) + offset


def lines_of(shifts=SHIFTS_NS, **changes):
    """Lines as recorded, one for each shift of the direct wave."""
    return [
        held_line(recorded(shift, seed=number, **changes), f"x{number}", end=(0.8, 0.0))
        for number, shift in enumerate(shifts)
    ]


def scan_area(lines):
    return ScanArea("A1", "L1", "top", SEPARATION_M, 1000 * FREQUENCY_GHZ, lines=tuple(lines))


def wave_speed(sigma=0.01):
    """The true speed and time zero of these data."""
    return WaveSpeed("A1", SPEED_M_NS, sigma * SPEED_M_NS, REFERENCE_NS - LAG_NS, 0.008, "known")


def time_axis(last_ns=9.0):
    """Time after the direct wave's extremum, as prepared areas have it."""
    return np.arange(-0.8, last_ns, INTERVAL_NS)


def echo(time_ns, path_m, amplitude):
    """Pulses that travelled `path_m` (trace,), spread as over a cylinder; shape (trace, sample)."""
    path = np.asarray(path_m)[:, None]
    return amplitude / np.sqrt(path / 0.1) * ricker(time_ns[None, :] + LAG_NS - path / SPEED_M_NS)


def bar_paths(start, end, count, axis, bar_start, bar_direction, radius_m=0.0):
    """Shortest paths by way of a straight bar from `count` places of a line, metres, shape (trace,).

    `bar_start` has the depth of the bar's top. With a radius the legs run to its middle and are shortened by the radius each.
    """
    start, end = np.asarray(start, float), np.asarray(end, float)
    travel = (end - start) / np.linalg.norm(end - start)
    apart = travel if axis == "across" else np.array([-travel[1], travel[0]])
    half = np.append(apart, 0.0) * SEPARATION_M / 2
    middle = np.add(bar_start, (0.0, 0.0, radius_m))
    out = []
    for share in np.linspace(0, 1, count):
        here = np.append(start + share * (end - start), 0.0)
        out.append(shortest_path(here - half, here + half, middle, bar_direction) - 2 * radius_m)
    return np.array(out)


def prepared_line(line_id, axis, start, end, traces):
    line = held_line(traces, line_id, axis, start, end)
    return PreparedLine(line, line.distances_m(), np.asarray(traces, np.float32), REFERENCE_NS, -1.0)


def prepared_area(lines, time_ns):
    return PreparedArea(
        scan_area(line.line for line in lines), tuple(lines), time_ns, -ricker(time_ns), REFERENCE_NS, 1e-4
    )


def grid_of_lines(size_m, spacing_m):
    """(line id, start, end) of the lines of both directions on a rectangle with a corner at 0, 0."""
    width, height = size_m
    for number, y in enumerate(np.arange(0, height + 1e-9, spacing_m)):
        yield f"x{number:02d}", (0.0, float(y)), (width, float(y))
    for number, x in enumerate(np.arange(0, width + 1e-9, spacing_m)):
        yield f"y{number:02d}", (float(x), 0.0), (float(x), height)


def area_over(bars, size_m=(0.6, 0.4), spacing_m=0.1, base_m=None, base_amplitude=0.2, noise=1e-4, axes=DIPOLE_AXES):
    """A prepared area over straight bars, and its true wave speed.

    Parameters
    ----------
    bars : sequence of (start x, y, depth; unit direction; amplitude)
        Amplitude of the echo at a path of 0.1 m, of the direct wave; negative for metal.
    base_m : float, optional
        Depth of a flat slab base; the amplitude of its echo is positive against air, negative against metal.
    """
    time = time_axis()
    random = np.random.default_rng(5)
    lines = []
    for line_id, start, end in grid_of_lines(size_m, spacing_m):
        count = round(np.linalg.norm(np.subtract(end, start)) / TRACE_STEP_M) + 1
        for axis in axes:
            traces = np.tile(-ricker(time), (count, 1)) + random.normal(0, noise, (count, len(time)))
            for bar_start, direction, amplitude in bars:
                traces += echo(time, bar_paths(start, end, count, axis, bar_start, direction, 0.008), amplitude)
            if base_m:
                traces += echo(time, np.full(count, np.hypot(2 * base_m, SEPARATION_M)), base_amplitude)
            lines.append(prepared_line(line_id, axis, start, end, traces))
    return prepared_area(lines, time), wave_speed()
