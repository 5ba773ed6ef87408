"""From recorded traces to aligned, calibrated ones: the first step of imaging an area.

The direct wave from transmitter to receiver is the same in every file of an area, whatever lies in the concrete. It is used three
times: its first strong extremum aligns all files in time, its amplitude levels them, and its shape is the antenna's signature
from which the wave speed module finds time zero. Nothing of the antenna is assumed but a rough centre frequency.

Wow (the receiver's slow decay) and offsets need no step of their own: the band-pass takes them off before imaging. What rings at
the same time in all traces goes with the background (`line_groups`).
"""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Dict, List, Optional, Tuple

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.signal import butter, sosfiltfilt, sosfreqz

from ..common.errors import InslabError, ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..survey.model import Finding, ScanArea, ScanLine
from .line_faults import Mending, clipped_samples, fill_dropouts, gain_drift

# Time kept before the direct wave's extremum, in periods of the centre frequency.
LEAD_PERIODS = 1.2
# Samples a period at least after resampling: linear interpolation in the migration is then good to 0.5 %.
SAMPLES_PER_PERIOD = 36
PASS_BAND = (0.25, 2.6)
# These bring the shifts of `align` to well under a picosecond of their limit set by noise.
ALIGNING_PASSES = 3


@dataclass(frozen=True)
class PreparedLine:
    """One line and dipole axis, ready for imaging.

    Attributes
    ----------
    traces : ndarray, float32, shape (trace, sample)
        Aligned amplitudes in units of the direct wave's extremum, before any background removal.
    distances_m : ndarray, shape (trace,)
        Distance of the traces from the line's start.
    extremum_ns : float
        When the direct wave's extremum was in the file's own record.
    amplitude : float
        Direct-wave extremum in recorded units.
    """

    line: ScanLine
    distances_m: np.ndarray
    traces: np.ndarray = field(repr=False)
    extremum_ns: float
    amplitude: float


@dataclass(frozen=True)
class PreparedArea:
    """All usable lines of an area on one time axis.

    Attributes
    ----------
    time_ns : ndarray, shape (sample,)
        Time after the extremum of the direct wave; time zero lies before it (`WaveSpeed` says how much).
    direct_wave : ndarray, shape (sample,)
        Median of all aligned lines, extremum scaled to +1 or -1.
    reference_ns : float
        Median recorded instant of the extremum.
    noise : float
        RMS of the record before the first arrival, in units of the direct wave.
    findings : tuple of Finding
        Lines left out, and why.
    """

    area: ScanArea
    lines: Tuple[PreparedLine, ...] = field(repr=False)
    time_ns: np.ndarray = field(repr=False)
    direct_wave: np.ndarray = field(repr=False)
    reference_ns: float
    noise: float
    findings: Tuple[Finding, ...] = ()

    @property
    def interval_ns(self) -> float:
        return float(self.time_ns[1] - self.time_ns[0])


def prepare_area(
    area: ScanArea,
    monitor: Monitor = Monitor(),
    mending: Mending = Mending(),
    decoded: Optional[Dict[Path, np.ndarray]] = None,
) -> PreparedArea:
    """Read, mend, align and level all lines of an area.

    `decoded` holds recorded amplitudes, by path, of lines that were read already; each is taken out of it when it is used, so that
    memory holds it once.

    Raises `ProcessingError` when no line of the area can be used.
    """
    decoded = {} if decoded is None else decoded
    raw: Dict[int, Tuple[np.ndarray, float]] = {}
    clipped: List[np.ndarray] = []
    findings: List[Finding] = []
    kept: List[ScanLine] = []
    for number, line in enumerate(area.lines):
        monitor.step(0.6 * number / max(len(area.lines), 1))
        try:
            recorded = decoded.pop(line.path) if line.path in decoded else line.read_traces()
            traces = remove_offset(recorded)
            said: List[str] = []
            if mending.dropouts:
                traces, said = fill_dropouts(traces, line.distances_m())
            cut = clipped_samples(recorded) if mending.clipping else np.zeros(traces.shape[1], bool)
            instant = first_extremum(np.median(traces, axis=0), line, area.centre_frequency_ghz)
            if cut.any():
                # Over a cut-off extremum the lobe before it looks like one.
                first = np.flatnonzero(cut)[0]
                instant = line.sample_interval_ns * (first + 0.5 * (np.argmin(np.append(cut[first:], False)) - 1))
            raw[len(kept)] = traces, instant
            clipped.append(cut)
            kept.append(line)
            findings += [
                Finding("warning", tr("area {area_id}, line {name}", area_id=area.area_id, name=line.name), text)
                for text in said
            ]
        except InslabError as error:
            findings.append(
                Finding("error", tr("area {area_id}, line {name}", area_id=area.area_id, name=line.name), str(error))
            )
    if not kept:
        raise ProcessingError(
            tr(
                "Area {area_id}: no line shows a usable direct wave; check the files and the centre frequency.",
                area_id=area.area_id,
            )
        )
    period = 1.0 / area.centre_frequency_ghz
    interval = min(min(line.sample_interval_ns for line in kept), period / SAMPLES_PER_PERIOD)
    rough = [extremum for _, extremum in raw.values()]
    end = max(line.sample_count * line.sample_interval_ns - start for line, start in zip(kept, rough))
    time = np.arange(-LEAD_PERIODS * period, end, interval)
    instants, amplitudes, shape = align([raw[k][0] for k in raw], kept, rough, time, period, clipped)
    prepared = []
    noise = []
    for number, line in enumerate(kept):
        monitor.step(0.6 + 0.4 * number / len(kept))
        traces = resample(raw.pop(number)[0], line.sample_interval_ns, instants[number] + time) / abs(
            amplitudes[number]
        )
        if mending.gain_drift:
            gain = gain_drift(direct_amplitudes(traces, shape, time, period), line.distances_m())
            if np.ptp(gain) > 0:
                text = tr(
                    "its gain drifts by {gain:.0f} % along the line; the drift was removed.",
                    gain=100 * (gain.max() / gain.min() - 1),
                )
                findings.append(
                    Finding("warning", tr("area {area_id}, line {name}", area_id=area.area_id, name=line.name), text)
                )
            traces = traces / gain[:, None]
        before = time < -1.0 * period
        noise.append(float(np.sqrt(np.mean(traces[:, before] ** 2))))
        prepared.append(
            PreparedLine(line, line.distances_m(), traces.astype(np.float32), instants[number], amplitudes[number])
        )
    findings += alignment_findings(area, prepared)
    return PreparedArea(
        area, tuple(prepared), time, shape, float(np.median(instants)), float(np.median(noise)), tuple(findings)
    )


def remove_offset(traces: np.ndarray) -> np.ndarray:
    """Take from each trace the median of its first twentieth, which no wave has reached yet. Shape (trace, sample)."""
    quiet = max(traces.shape[1] // 20, 3)
    return traces - np.median(traces[:, :quiet], axis=1, keepdims=True)


def first_extremum(trace: np.ndarray, line: ScanLine, centre_frequency_ghz: float) -> float:
    """Instant (ns) of the first extremum of at least half the strongest one within the first arrival.

    Raises `ProcessingError` if the trace is flat or the extremum is not inside the record.
    """
    strongest = np.abs(trace).max()
    if not strongest > 0:
        raise ProcessingError(
            tr("{name} holds no signal (all samples equal); scan the line again.", name=line.path.name)
        )
    magnitude = np.abs(trace)
    peaks = np.flatnonzero((magnitude[1:-1] >= magnitude[:-2]) & (magnitude[1:-1] > magnitude[2:])) + 1
    peaks = peaks[magnitude[peaks] >= 0.5 * strongest]
    if not len(peaks) or peaks[0] * line.sample_interval_ns < 0.25 / centre_frequency_ghz:
        raise ProcessingError(
            tr(
                "{name} does not show the direct wave: the recording starts too late or contains no pulse near "
                "{centre_frequency:.0f} MHz; check the centre frequency and the sample interval.",
                name=line.path.name,
                centre_frequency=centre_frequency_ghz * 1000,
            )
        )
    return float(peaks[0] * line.sample_interval_ns)


def resample(traces: np.ndarray, interval_ns: float, instants_ns: np.ndarray) -> np.ndarray:
    """Values of traces (trace, sample) at the given instants of their record; zero outside it."""
    record = np.arange(traces.shape[1]) * interval_ns
    inside = (instants_ns >= 0) & (instants_ns <= record[-1])
    out = np.zeros((traces.shape[0], len(instants_ns)))
    out[:, inside] = CubicSpline(record, traces, axis=1)(instants_ns[inside])
    return out


def align(raw, lines, rough_ns, time_ns, period_ns, clipped):
    """Instant and amplitude of the direct wave in each file, by least squares against the files' common shape.

    `clipped` says for each file which samples are cut off: they are left out, and files that have such do not take
    part in the common shape as long as there are others. Each median trace is fitted with [shape, slope of the shape, 1]
    around the extremum; the ratio of slope to shape is the remaining shift.

    Returns
    -------
    instants_ns, amplitudes : ndarray, shape (file,)
    shape : ndarray, shape (sample,), extremum scaled to +1 or -1
    """
    medians = [np.median(traces, axis=0)[None] for traces in raw]
    instants = np.array(rough_ns, float)
    amplitudes = np.ones(len(raw))
    window = _around_extremum(time_ns, period_ns)
    origin = int(np.argmin(np.abs(time_ns)))
    reach = int(0.2 * period_ns / (time_ns[1] - time_ns[0]))
    shape = np.zeros_like(time_ns)
    whole = np.array([not cut.any() for cut in clipped])
    if not whole.any():
        whole[:] = True
    for _ in range(ALIGNING_PASSES):
        stack = np.array(
            [
                resample(median, line.sample_interval_ns, instant + time_ns)[0] / amplitude
                for median, line, instant, amplitude in zip(medians, lines, instants, amplitudes)
            ]
        )
        level = np.abs(stack[whole][:, window]).max(axis=1, keepdims=True)
        shape = np.median(stack[whole] / level, axis=0)
        near = slice(origin - reach, origin + reach + 1)
        peak = origin - reach + int(np.argmax(np.abs(shape[near])))
        centre = parabola_vertex(np.abs(shape[peak - 1 : peak + 2]))
        sign = np.sign(shape[peak])
        offset = time_ns[peak] + centre * (time_ns[1] - time_ns[0])
        shape = shape / abs(shape[peak])
        slope = np.gradient(shape, time_ns)
        design = np.stack([shape[window], slope[window], np.ones(window.sum())], axis=1)
        solution = np.linalg.lstsq(design, stack[:, window].T, rcond=None)[0]
        for number in np.flatnonzero(~whole):
            own = ~_cut_off(clipped[number], instants[number] + time_ns[window], lines[number].sample_interval_ns)
            solution[:, number] = np.linalg.lstsq(design[own], stack[number, window][own], rcond=None)[0]
        amplitudes = amplitudes * solution[0]
        # The stack's own extremum is brought to time 0, so that the reference does not drift from pass to pass.
        instants = instants - solution[1] / solution[0] + offset
    return instants, sign * np.abs(amplitudes), shape


def _cut_off(cut: np.ndarray, instants_ns: np.ndarray, interval_ns: float) -> np.ndarray:
    """Which instants of a record fall on cut-off samples, or beside one, from which interpolation would take."""
    beside = np.convolve(cut, np.ones(5), mode="same") > 0.5
    sample = np.round(instants_ns / interval_ns).astype(int)
    return beside[np.clip(sample, 0, len(cut) - 1)]


def direct_amplitudes(traces, shape, time_ns, period_ns) -> np.ndarray:
    """Amplitude of the direct wave in each aligned trace, in units of `shape`; shape (trace,)."""
    window = _around_extremum(time_ns, period_ns)
    design = np.stack([shape[window], np.ones(window.sum())], axis=1)
    return np.linalg.lstsq(design, traces[:, window].T, rcond=None)[0][0]


def _around_extremum(time_ns, period_ns) -> np.ndarray:
    """Up to the extremum and little beyond it: later the echoes of shallow bars come in."""
    return (time_ns > -0.5 * period_ns) & (time_ns < 0.2 * period_ns)


def parabola_vertex(three: np.ndarray) -> np.ndarray:
    """Offset (in samples, -0.5 to 0.5) of the vertex of the parabola through three values; last axis has length 3."""
    left, middle, right = three[..., 0], three[..., 1], three[..., 2]
    bend = left - 2 * middle + right
    with np.errstate(divide="ignore", invalid="ignore"):
        offset = np.where(bend < 0, 0.5 * (left - right) / bend, 0.0)
    return np.clip(offset, -0.5, 0.5)


def alignment_findings(area: ScanArea, lines: List[PreparedLine]) -> List[Finding]:
    """Lines whose direct wave is far from the others: probably another setting, or a fault."""
    instants = np.array([line.extremum_ns for line in lines])
    amplitudes = np.array([abs(line.amplitude) for line in lines])
    out = []
    for line, instant, amplitude in zip(lines, instants, amplitudes):
        where = tr("area {area_id}, line {name}", area_id=area.area_id, name=line.line.name)
        if abs(instant - np.median(instants)) > 0.5 / area.centre_frequency_ghz:
            text = tr(
                "its direct wave arrives {instant:+.2f} ns relative to that of the other lines",
                instant=instant - np.median(instants),
            )
            out.append(
                Finding("warning", where, text + tr("; it was aligned, but check that the settings were the same."))
            )
        if not 0.5 < amplitude / np.median(amplitudes) < 2.0:
            text = tr(
                "its direct wave is {amplitude:.1f} times as strong as usual in this area",
                amplitude=amplitude / np.median(amplitudes),
            )
            out.append(Finding("warning", where, text + tr("; its gain was matched, but check gain and coupling.")))
    return out


def band_pass_sections(interval_ns: float, centre_frequency_ghz: float) -> np.ndarray:
    """Second-order sections of a Butterworth band-pass from 0.25 to 2.6 times the centre frequency."""
    nyquist = 0.5 / interval_ns
    low, high = (factor * centre_frequency_ghz / nyquist for factor in PASS_BAND)
    return butter(3, [low, min(high, 0.95)], "bandpass", output="sos")


def band_pass(traces: np.ndarray, interval_ns: float, centre_frequency_ghz: float) -> np.ndarray:
    """Zero-phase band-pass (`band_pass_sections`, forwards and backwards); shape (trace, sample) kept, float32."""
    sections = band_pass_sections(interval_ns, centre_frequency_ghz)
    return sosfiltfilt(sections, traces, axis=-1).astype(np.float32)


def noise_gain(interval_ns: float, centre_frequency_ghz: float, highest_ghz: float) -> float:
    """What `band_pass` leaves of the RMS of noise that is white up to `highest_ghz`."""
    frequencies = np.linspace(0.0, highest_ghz, 512)
    sections = band_pass_sections(interval_ns, centre_frequency_ghz)
    _, response = sosfreqz(sections, worN=2 * np.pi * frequencies * interval_ns)
    # Forwards and backwards: the magnitude counts twice.
    return float(np.sqrt(np.mean(np.abs(response) ** 4)))
