"""Wave speed from the echoes of bars, and its agreement with the direct wave.

Bars under a few centimetres of cover lie in the near field of the dipoles: fitting ray hyperbolas to them reads the speed 10 % fast
with dipoles across the travel and 6 % slow along it (measured on full-wave simulations). So whole waveforms are compared with the
echo of a bar under a half-space (`radar.bar_echo`), for some trial permittivities, at the depth that fits best for each.
"""

from dataclasses import dataclass, replace
from functools import partial
from typing import Dict, List, Optional, Sequence, Tuple

import numpy as np
from scipy.signal import sosfreqz

from ..common.language import tr
from ..common.monitor import Monitor
from ..common.together import run_together
from ..geometry.two_leg import plane_path
from ..radar.bar_echo import EchoTable, make_table
from ..radar.focus import near_traces
from ..radar.half_space import Spectrum
from ..radar.imaging import find_base
from ..radar.line_groups import BACKGROUND_M, GroupImages, group_lines
from ..radar.migration import ImageGrid
from ..radar.model import EchoUse, RegionSpeed, WaveSpeed
from ..radar.preprocessing import PreparedArea, band_pass_sections
from ..survey.model import DIPOLE_AXES
from ..tracks.echo import add_echo
from ..tracks.search import Found, GroupSearch
from .combination import combine, from_direct_wave
from .direct_wave import DirectWaveFit, conductivity_from_base, fit_direct_wave, refit_antenna
from .regions import halves_of, region_speeds

DEEPEST_M, DEEPEST_WAVELENGTHS = 0.13, 1.7
STRONG_ROUNDS = (1.75, 1.25)
LARGEST_CROSSING_RAD, LARGEST_DIP = np.radians(12.0), 0.03
# Steeper courses are searched than are used, so that a slanting object is not taken for a bar.
LARGEST_SLOPE = 0.3
FROM_END_M = 0.10
OFFSETS_M = np.arange(0.0, 0.2001, 0.005)
RATIOS = np.array([0.80, 0.88, 0.94, 1.0, 1.06, 1.13, 1.22])
RADII_M = (0.004, 0.007, 0.012)
# Depths to the top that are tried, and how far from the first estimate; the table is coarser, its spectra are smooth in depth.
TRIAL_DEPTHS_M, DEPTH_SHIFT_M = np.arange(0.014, 0.1601, 0.002), 0.014
TABLE_DEPTHS_M = np.array([0.014, 0.020, 0.027, 0.035, 0.045, 0.057, 0.072, 0.090, 0.112, 0.136, 0.160])
TIME_STEP_NS = 0.03
LEAST_MATCH = 0.35
FEWEST_BARS = 3
# Scatter of the result on simulated slabs beyond what the bars' own scatter tells (relative), where the echoes match the model as
# well as they did there; it grows with the square of what the model leaves unexplained.
FLOOR, USUAL_MATCH = 0.015, 0.74


@dataclass(frozen=True)
class BarRadargram:
    """What the passes of a group have in common around one bar: (offset from it, time), for each dipole axis.

    `region` names the half of the passes that it was made of; empty for all.
    """

    name: str
    depth_m: float
    panels: Dict[str, np.ndarray]
    region: str = ""


def estimate_wave_speed(prepared: PreparedArea, monitor: Monitor = Monitor()) -> WaveSpeed:
    """Wave speed and time zero of an area from its direct wave and from the echoes of its bars.

    Where the two disagree beyond their sigmas, or the antenna model does not fit, the sigma grows and a warning says why.
    """
    monitor.step(0.0)
    direct = fit_direct_wave(prepared)
    first = from_direct_wave(prepared, direct)
    base = find_base(prepared, first, cell_m=0.05)
    if base.seen:
        conductivity = conductivity_from_base(prepared, direct, float(np.nanmedian(base.thickness_m)))
        direct = fit_direct_wave(prepared, conductivity)
        first = from_direct_wave(prepared, direct, conductivity_known=True)
    uses: List[EchoUse] = []
    bars: List[BarRadargram] = []
    groups = [group for group in group_lines(prepared) if len(group.passes) >= 3]
    works = [partial(find_bars, prepared, group, first) for group in groups]
    for own, rejected in run_together(works, monitor.part(0.2, 0.7)):
        bars += own
        uses += rejected
    monitor.step(0.7)
    result = match_bars(prepared, first, direct, bars) if sum(not bar.region for bar in bars) >= FEWEST_BARS else None
    if result is None:
        uses += [
            EchoUse(bar.name, bar.depth_m, False, np.nan, tr("too few bars for a separate estimate"))
            for bar in bars
            if not bar.region
        ]
        return combine(prepared, first, direct, None, uses)
    speed, sigma, own, regions = result
    return combine(prepared, first, direct, (speed, sigma), uses + own, regions)


def find_bars(prepared, group, speed: WaveSpeed, monitor: Monitor) -> Tuple[List[BarRadargram], List[EchoUse]]:
    """Radargrams of the group's shallow bars that cross it squarely, of all passes and of each half; what was rejected, and why."""
    wavelength = speed.speed_m_ns / prepared.area.centre_frequency_ghz
    deepest = min(DEEPEST_M, DEEPEST_WAVELENGTHS * wavelength)
    low, high = group.extent_m
    grid = ImageGrid(np.arange(low - 0.06, high + 0.06, 0.005), np.arange(0.012, deepest + 0.02, wavelength / 32))
    search = GroupSearch(GroupImages(prepared, group, speed, grid), None, STRONG_ROUNDS, False, LARGEST_SLOPE)
    search.run(monitor)
    bars, rejected = [], []
    direction = "xy"[int(np.argmax(np.abs(group.direction)))]
    for one in search.found:
        name = tr("{direction}-lines at {u0_m:.2f} m", direction=direction, u0_m=one.track.u0_m)
        depth = float(np.median(search.place(one)[1]))
        reason = _unsuitable(one, depth, deepest, low, high)
        if reason:
            rejected.append(EchoUse(name, depth, False, np.nan, reason))
            continue
        for region, passes in [("", np.ones(len(group.passes), bool)), *halves_of(group)]:
            axes = [axis for axis in DIPOLE_AXES if (search.images.has[axis] & passes).sum() >= 3]
            panels = {axis: _fold(search, one, axis, passes) for axis in axes}
            if panels:
                bars.append(BarRadargram(name, depth, panels, region))
    return bars, rejected


def _unsuitable(one: Found, depth: float, deepest: float, low: float, high: float) -> Optional[str]:
    if one.track.crossing_rad > LARGEST_CROSSING_RAD:
        return tr("crosses the lines obliquely")
    if abs(one.track.dip) > LARGEST_DIP:
        return tr("is not level")
    if depth > deepest:
        return tr("is too deep for the near-field model")
    if not low + FROM_END_M < one.track.u0_m < high - FROM_END_M:
        return tr("is too close to the ends of the lines")
    return None


def time_axis(images) -> np.ndarray:
    return np.arange(0.0, images.time_ns[-1], TIME_STEP_NS)


def _fold(search: GroupSearch, one: Found, axis: str, passes: np.ndarray) -> np.ndarray:
    """Median over `passes` and both sides of the bar by distance from it, other bars' echoes taken off; (offset, time)."""
    images = search.images
    traces = search.traces[axis].copy()
    add_echo(traces, one.echo, axis, +1)
    u = np.where(np.isfinite(one.sightings.u_m) & images.has[axis] & passes, one.sightings.u_m, -1e3)
    index, offset = near_traces(images.distances_m(axis), u, OFFSETS_M[-1] + 0.01)
    near = np.take_along_axis(traces, index[:, :, None], axis=1).real
    spacing = OFFSETS_M[1]
    time = time_axis(images)
    out = np.full((len(OFFSETS_M), len(time)), np.nan)
    for number, middle in enumerate(OFFSETS_M):
        chosen = near[np.abs(np.abs(offset) - middle) <= spacing * 0.75]
        if len(chosen) >= 3:
            out[number] = np.interp(time, images.time_ns, np.median(chosen, axis=0))
    return out


def match_bars(
    prepared: PreparedArea, first: WaveSpeed, direct: DirectWaveFit, radargrams: Sequence[BarRadargram]
) -> Optional[Tuple[float, float, List[EchoUse], Tuple[RegionSpeed, ...]]]:
    """Speed, its sigma, what each bar said, and the speeds of regions; None where the bars do not match at any permittivity."""
    bars = [one for one in radargrams if not one.region]
    parts = [one for one in radargrams if one.region]
    frequency = prepared.area.centre_frequency_ghz
    count = next(iter(bars[0].panels.values())).shape[1]
    time = np.arange(count) * TIME_STEP_NS
    kept = time < 2 * (DEEPEST_M + 0.05) / first.speed_m_ns + 1.5 / frequency
    matcher = _Matcher(prepared, first, direct, time[kept], kept)
    trials = [(1.0, radius) for radius in RADII_M]
    by_radius = [np.nanmean(match[: len(bars)]) for match in matcher.matches(bars + parts, trials)]
    radius = RADII_M[int(np.nanargmax(by_radius))]
    matches = np.array(matcher.matches(bars + parts, [(ratio, radius) for ratio in RATIOS]))  # (ratio, bar, axis)
    logs = np.log(RATIOS)
    names = [one.region for one in parts]
    regions = region_speeds(names, logs, first.speed_m_ns, _vertex, matches[:, len(bars) :])
    matches = matches[:, : len(bars)]
    uses: List[EchoUse] = []
    good = np.nanmax(matches, axis=(0, 2)) >= LEAST_MATCH
    for number, bar in enumerate(bars):
        own = _vertex(logs, np.nanmean(matches[:, number], axis=1)) if good[number] else np.nan
        reason = tr("used") if good[number] else tr("its echo does not match that of a metal bar")
        own_speed = float(first.speed_m_ns * np.exp(-0.5 * own)) if np.isfinite(own) else np.nan
        uses.append(EchoUse(bar.name, bar.depth_m, bool(good[number]), own_speed, reason))
    if good.sum() < FEWEST_BARS:
        return None

    def by_axis(chosen) -> np.ndarray:
        return np.array(
            [_vertex(logs, np.nanmean(matches[:, chosen, axis], axis=1)) for axis in range(matches.shape[2])]
        )

    def estimate(chosen) -> float:
        # The errors of the two dipole axes from the unknown bar radius have opposite signs, so each axis counts alike.
        vertices = by_axis(chosen)
        return float(np.nanmean(vertices)) if np.isfinite(vertices).any() else np.nan

    chosen = np.flatnonzero(good)
    best = estimate(chosen)
    if not np.isfinite(best):
        return None
    random = np.random.default_rng(1)
    trials = [estimate(random.choice(chosen, len(chosen))) for _ in range(60)]  # nosec B311 - no secret hangs on it
    scatter = 0.5 * float(np.nanstd(trials))
    left = (1 - np.nanmean(np.nanmax(matches[:, chosen], axis=0))) / (1 - USUAL_MATCH)
    # What the two axes say should agree; half of what they differ by counts as uncertainty.
    apart = 0.25 * float(np.nan_to_num(np.ptp(by_axis(chosen))))
    sigma = float(np.sqrt(scatter**2 + apart**2 + (FLOOR * max(1.0, left) ** 2) ** 2))
    return float(first.speed_m_ns * np.exp(-0.5 * best)), sigma * first.speed_m_ns, uses, regions


def _vertex(logs: np.ndarray, values: np.ndarray) -> float:
    """Place of the maximum of a parabola through the values near their largest; NaN where there is none inside."""
    if not np.isfinite(values).all():
        return np.nan
    top = int(np.argmax(values))
    near = slice(max(top - 2, 0), min(top + 3, len(values)))
    bend, slope, _ = np.polyfit(logs[near], values[near], 2)
    if bend >= 0:
        return float(logs[top])
    return float(np.clip(-slope / (2 * bend), logs[0] - 0.05, logs[-1] + 0.05))


class _Matcher:
    """Compares bars' radargrams with modelled echoes; the antenna's pulse and height come from the direct wave."""

    def __init__(self, prepared, first: WaveSpeed, direct: DirectWaveFit, time: np.ndarray, kept: np.ndarray):
        area = prepared.area
        self.separation, self.frequency = area.antenna_separation_m, area.centre_frequency_ghz
        self.first, self.direct, self.time, self.kept = first, direct, time, kept
        self._done: Dict[Tuple[float, float], np.ndarray] = {}
        # Beyond these frequencies the band-pass leaves less than a hundredth of the strongest.
        self.spectrum = Spectrum.over(2.5 * self.frequency, max(12.0 / self.frequency, 1.3 * time[-1]))
        sections = band_pass_sections(prepared.interval_ns, self.frequency)
        nyquist = 0.5 / prepared.interval_ns
        _, response = sosfreqz(sections, worN=np.pi * np.abs(self.spectrum.omega.real) / (2 * np.pi) / nyquist)
        # Zero-phase filtering runs the filter twice: the square of its magnitude.
        self.filtering = np.abs(response) ** 2
        # What the direct wave says of a general pulse hangs on the permittivity: each trial has its own pulse and time zero.
        permittivities = [direct.permittivity * ratio for ratio in RATIOS]
        if direct.pulse.is_ricker:
            antennas = [replace(direct, permittivity=one) for one in permittivities]
        else:
            antennas = run_together([lambda _, one=one: refit_antenna(prepared, direct, one) for one in permittivities])
        self.antennas = dict(zip(RATIOS, antennas))

    def matches(self, bars: Sequence[BarRadargram], trials: Sequence[Tuple[float, float]]) -> List[np.ndarray]:
        """Explained share of each bar's energy at its best depth, dipole axes at one depth; shape (bar, axis) for each trial.

        A trial is the permittivity over that of the direct wave, and the bars' radius.
        """
        new = [trial for trial in trials if trial not in self._done]
        works = [lambda _, trial=trial: self._matches(bars, *trial) for trial in new]
        self._done.update(zip(new, run_together(works)))
        return [self._done[trial] for trial in trials]

    def _matches(self, bars, ratio, radius) -> np.ndarray:
        antenna = self.antennas[ratio]
        table = make_table(
            self.spectrum,
            antenna.permittivity,
            antenna.conductivity,
            self.separation,
            antenna.height_m,
            radius,
            TABLE_DEPTHS_M,
        )
        models = {axis: self._echoes(table, axis, antenna) for axis in DIPOLE_AXES}
        out = np.full((len(bars), len(DIPOLE_AXES)), np.nan)
        for number, bar in enumerate(bars):
            middle = bar.depth_m / np.sqrt(ratio)
            trial = np.flatnonzero(np.abs(TRIAL_DEPTHS_M - middle) <= DEPTH_SHIFT_M)
            if not len(trial):
                continue
            shares = {axis: self._shares(models[axis][trial], axis, bar) for axis in bar.panels}
            best = int(np.argmax(np.sum(list(shares.values()), axis=0)))
            for axis, share in shares.items():
                out[number, DIPOLE_AXES.index(axis)] = share[best]
        return out

    def _shares(self, models: np.ndarray, axis: str, bar: BarRadargram) -> np.ndarray:
        """Explained share of a bar's energy for modelled echoes of shape (depth, offset, time); shape (depth,)."""
        data = bar.panels[axis][:, self.kept]
        known = np.isfinite(data)
        path = plane_path(np.hypot(OFFSETS_M, bar.depth_m), self.separation)
        expected = path[:, None] / self.first.speed_m_ns + 0.1 / self.frequency
        window = np.clip((0.95 - np.abs(self.time - expected) * self.frequency) / 0.3, 0, 1)
        window = window * np.sqrt(self.time) * np.exp(-((OFFSETS_M[:, None] / 0.15) ** 2)) * known
        weighted = np.where(known, data, 0.0) * window
        models = models * window
        product = np.einsum("dot,ot->d", models, weighted)
        energy = np.einsum("dot,dot->d", models, models) * np.sum(weighted**2)
        return np.sign(product) * product**2 / np.maximum(energy, 1e-30)

    def _echoes(self, table: EchoTable, axis: str, antenna: DirectWaveFit) -> np.ndarray:
        """Modelled echoes at all trial depths, less their running mean along the line as it was taken from the data.

        The recorded phase of the pulse was turned back by that of the first fit (`GroupImages`), and so is the modelled one.

        Shape (depth, offset, time).
        """
        places = np.arange(0.0, 0.2601, OFFSETS_M[1])
        current = antenna.pulse.current(self.spectrum.omega) * np.exp(1j * self.direct.pulse.phase_rad)
        time = self.time + antenna.lag_ns - self.direct.lag_ns
        side = table.echoes(axis, places, TRIAL_DEPTHS_M, current * self.filtering, time)
        ending = side * np.clip((places[-1] - places) / 0.05, 0, 1)[:, None]
        reach = BACKGROUND_M / 2
        near = np.abs(places - OFFSETS_M[:, None]) <= reach
        mirrored = (np.abs(places + OFFSETS_M[:, None]) <= reach) & (places > 0)
        share = (near.astype(float) + mirrored) * OFFSETS_M[1] / BACKGROUND_M
        return side[:, : len(OFFSETS_M)] - share @ ending
