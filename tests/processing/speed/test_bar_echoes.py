"""Wave speed from the echoes of bars: on panels of known permittivity, and on the small survey."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import surveys
from synthetic import FREQUENCY_GHZ, SEPARATION_M, prepared_area, time_axis

from inslab.processing.radar.bar_echo import make_table
from inslab.processing.radar.half_space import Pulse, Spectrum
from inslab.processing.radar.model import RegionSpeed
from inslab.processing.radar.preprocessing import band_pass, prepare_area
from inslab.processing.speed import bar_echoes
from inslab.processing.speed.bar_echoes import OFFSETS_M, TIME_STEP_NS, BarRadargram, estimate_wave_speed, match_bars
from inslab.processing.speed.combination import combine, from_direct_wave
from inslab.processing.speed.direct_wave import DirectWaveFit
from inslab.processing.survey.read import read_survey

LIGHT_M_NS = 0.299792458
# What the slab is, and what the direct wave says of it: 5 % less in permittivity.
PERMITTIVITY, FIRST_PERMITTIVITY, CONDUCTIVITY, HEIGHT_M = 7.35, 7.0, 0.02, 0.004
RADIUS_M = 0.007  # between two that are tried
TRUE_SPEED_M_NS = LIGHT_M_NS / np.sqrt(PERMITTIVITY)
DEPTHS_M = np.arange(0.025, 0.0901, 0.005)
TIME_NS = np.arange(200) * TIME_STEP_NS


@pytest.fixture(scope="module", autouse=True)
def kept_tables():
    """Tables of echoes are what takes long: one that is asked for again is not computed again."""
    made = {}

    def kept(spectrum, *arguments):
        key = (len(spectrum.omega), spectrum.step, *arguments[:-1])
        if key not in made:
            made[key] = make_table(spectrum, *arguments)
        return made[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bar_echoes, "make_table", kept)
        yield


@pytest.fixture(scope="module")
def panels():
    """Radargrams of single bars by depth and dipole axis: band-passed, less the mean of 0.6 m of line, without noise."""
    spectrum = Spectrum.over(4.5, 10.0)
    table = make_table(spectrum, PERMITTIVITY, CONDUCTIVITY, SEPARATION_M, HEIGHT_M, RADIUS_M, DEPTHS_M)
    current = Pulse(FREQUENCY_GHZ).current(spectrum.omega)
    step = OFFSETS_M[1]
    places = np.arange(-100, 101) * step
    fine = np.arange(0.0, TIME_NS[-1] + 0.5, 0.01)
    out = {}
    for depth in DEPTHS_M:
        out[depth] = {}
        for axis in ("across", "along"):
            line = np.zeros((len(places), len(fine)))
            near = np.abs(places) <= 0.25
            line[near] = table.echoes(axis, places[near], [depth], current, fine)[0]
            line = band_pass(line, 0.01, FREQUENCY_GHZ)
            rows = 100 + np.arange(len(OFFSETS_M))
            less_mean = [line[row] - line[max(row - 60, 0) : row + 61].sum(axis=0) / 121 for row in rows]
            out[depth][axis] = np.array([np.interp(TIME_NS, fine, trace) for trace in less_mean])
    return out


def bars_of(panels, random, noise, count=6, depths=DEPTHS_M):
    """Bars at random depths, their noise in units of the echo's own peak, the first depth some millimetres wrong."""
    bars = []
    for number, depth in enumerate(random.choice(depths, count, replace=False)):
        noisy = {
            axis: panel + noise * np.abs(panel).max() * _coloured(random, panel.shape)
            for axis, panel in panels[depth].items()
        }
        bars.append(BarRadargram(f"bar {number}", float(depth + random.normal(0, 0.003)), noisy))
    return bars


def _coloured(random, shape):
    """Noise of the band of the pulse, standard deviation 1."""
    noise = band_pass(random.normal(size=(shape[0], 2 * shape[1])), TIME_STEP_NS, FREQUENCY_GHZ)[:, : shape[1]]
    return noise / noise.std()


@pytest.fixture(scope="module")
def known():
    """Prepared area without lines, the direct wave's speed and the antenna."""
    prepared = prepared_area([], time_axis())
    direct = DirectWaveFit(FIRST_PERMITTIVITY, CONDUCTIVITY, 0.05, HEIGHT_M, Pulse(FREQUENCY_GHZ), 4e-4)
    return prepared, from_direct_wave(prepared, direct, conductivity_known=True), direct


def test_speed_is_unbiased_and_its_sigma_honest(panels, known):
    random = np.random.default_rng(3)
    errors = []
    for _ in range(10):
        speed, sigma, uses, _ = match_bars(*known, bars_of(panels, random, 0.15))
        assert all(use.used for use in uses)
        assert 0.01 < sigma / speed < 0.03
        errors.append((speed / TRUE_SPEED_M_NS - 1, sigma / speed))
    errors, sigmas = np.array(errors).T
    assert abs(errors.mean()) < 0.005
    # Two or more of ten beyond 1.96 sigma happen to an honest sigma in one run of twelve (binomial); the seed is fixed.
    assert np.sum(np.abs(errors) > 1.96 * sigmas) <= 1


def test_echoes_that_are_not_those_of_bars_give_no_speed(panels, known):
    random = np.random.default_rng(4)
    shape = next(iter(panels.values()))["across"].shape
    bars = [
        BarRadargram(f"{k}", 0.05, {axis: _coloured(random, shape) for axis in ("across", "along")}) for k in range(4)
    ]
    assert match_bars(*known, bars) is None


def test_bar_unlike_the_others_is_not_used(panels, known):
    random = np.random.default_rng(5)
    bars = bars_of(panels, random, 0.05, count=5)
    bars[2] = replace(bars[2], panels={axis: _coloured(random, panel.shape) for axis, panel in bars[2].panels.items()})
    speed, _, uses, _ = match_bars(*known, bars)
    assert [use.used for use in uses] == [True, True, False, True, True]
    assert "does not match" in uses[2].reason
    assert speed == pytest.approx(TRUE_SPEED_M_NS, rel=0.02)


def test_halves_of_another_speed_are_told_apart(panels, known):
    """The same bars in both halves; in one of them the times are stretched as 8 % slower concrete would."""
    random = np.random.default_rng(8)
    bars = bars_of(panels, random, 0.1)
    stretched = {
        bar.name: {
            axis: np.array([np.interp(TIME_NS / 1.08, TIME_NS, trace) for trace in panel])
            for axis, panel in bar.panels.items()
        }
        for bar in bars
    }
    near = [replace(bar, region="near") for bar in bars]
    far = [replace(bar, region="far", panels=stretched[bar.name], depth_m=1.08 * bar.depth_m) for bar in bars]
    *_, regions = match_bars(*known, bars + near + far)
    speeds = {one.where: one for one in regions}
    assert set(speeds) == {"near", "far"}
    apart = speeds["near"].speed_m_ns / speeds["far"].speed_m_ns - 1
    # Depth takes part of a stretch, hyperbolas tell the rest: the sign and the order of size count.
    assert 0.02 < apart < 0.12
    *_, same = match_bars(*known, bars + near + [replace(bar, region="again") for bar in bars])
    assert same[0].speed_m_ns == same[1].speed_m_ns


def test_difference_of_halves_is_said_and_widens_the_sigma(known):
    prepared, first, direct = known
    bars = (first.speed_m_ns, 0.01 * first.speed_m_ns)
    alike = combine(prepared, first, direct, bars, [])
    near, far = (
        RegionSpeed(name, factor * first.speed_m_ns, 0.0015) for name, factor in (("near", 0.95), ("far", 1.05))
    )
    differ = combine(prepared, first, direct, bars, [], [near, far])
    # An even change over the area: off by 10 % at the edges, by 10 % / sqrt(3) in the root mean square.
    spread = 0.10 * first.speed_m_ns / np.sqrt(3.0)
    assert differ.sigma_m_ns == pytest.approx(np.hypot(alike.sigma_m_ns, spread), rel=1e-6)
    assert "not the same everywhere" in differ.warnings[-1]
    assert combine(prepared, first, direct, bars, [], [near, near]).warnings == alike.warnings


def test_an_antenna_unlike_those_tried_widens_the_sigma(known):
    prepared, first, direct = known
    bars = (first.speed_m_ns, 0.01 * first.speed_m_ns)
    usual = combine(prepared, first, direct, bars, [])
    # Four times the misfit at which a Ricker pulse is given up, and twice the order tried: 2 and 2.
    strange = replace(direct, pulse=Pulse(FREQUENCY_GHZ, 6.0, 0.3), misfit=8e-3)
    assert strange.strangeness == pytest.approx(4.0)
    assert replace(strange, pulse=Pulse(FREQUENCY_GHZ)).strangeness == 1.0
    assert replace(strange, misfit=1e-4, pulse=Pulse(FREQUENCY_GHZ, 2.5, 0.3)).strangeness == 1.0
    widened = combine(prepared, first, strange, bars, [])
    assert widened.sigma_m_ns == pytest.approx(4.0 * usual.sigma_m_ns)
    assert widened.speed_m_ns == usual.speed_m_ns


def test_poor_match_widens_the_sigma(panels, known):
    clear, drowned = (match_bars(*known, bars_of(panels, np.random.default_rng(6), noise)) for noise in (0.05, 0.3))
    assert drowned[1] > 1.3 * clear[1]


@pytest.fixture(scope="module")
def area(small_survey):
    return read_survey(small_survey).areas[0]


@pytest.fixture(scope="module")
def estimate(area):
    """Of the small survey, whose wave model is another than the plugin's: rays, and the cylinder's far field."""
    return estimate_wave_speed(prepare_area(area))


def test_small_survey_within_a_percent_and_a_half(estimate):
    speed = estimate
    assert speed.method == "direct wave and bar echoes"
    assert speed.speed_m_ns == pytest.approx(surveys.SPEED_M_NS, rel=0.015)
    assert speed.sigma_m_ns < 0.025 * speed.speed_m_ns
    assert speed.time_zero_ns == pytest.approx(surveys.TIME_ZERO_NS, abs=0.02)
    assert sum(use.used for use in speed.echoes) >= 3


def test_separation_stated_wrong_is_told_and_widens_the_sigma(area, estimate):
    wrong = estimate_wave_speed(prepare_area(replace(area, antenna_separation_m=0.05)))
    assert any("separation" in text for text in wrong.warnings)
    assert not estimate.warnings
    assert wrong.sigma_m_ns > 2 * estimate.sigma_m_ns
    assert abs(wrong.speed_m_ns - surveys.SPEED_M_NS) < 1.96 * wrong.sigma_m_ns


def test_too_few_bars_leave_the_direct_wave_alone(area):
    few = replace(area, lines=tuple(line for line in area.lines if line.line_id == "X01"))
    speed = estimate_wave_speed(prepare_area(few))
    assert speed.method == "direct wave"
    assert not speed.echoes
    assert abs(speed.speed_m_ns - surveys.SPEED_M_NS) < 1.96 * speed.sigma_m_ns


@pytest.mark.parametrize(
    ("values", "depth", "reason"),
    [
        ({}, 0.05, None),
        ({"crossing_rad": np.radians(12.1)}, 0.05, "crosses the lines obliquely"),
        ({"dip": -0.031}, 0.05, "not level"),
        ({}, 0.091, "too deep"),
        ({"u0_m": 0.1}, 0.05, "too close to the ends"),
        ({"u0_m": 0.9}, 0.05, "too close to the ends"),
    ],
)
def test_why_an_echo_tells_no_speed(values, depth, reason):
    track = SimpleNamespace(**{"crossing_rad": np.radians(11.9), "dip": 0.029, "u0_m": 0.5, **values})
    said = bar_echoes._unsuitable(SimpleNamespace(track=track), depth, 0.09, 0.0, 1.0)
    assert (said is None) == (reason is None)
    assert reason is None or reason in said


def test_the_best_of_trials_lies_on_a_parabola():
    """y = 5 - (x - 0.3)²; without a peak inside, the largest value; nothing where a value is missing."""
    x = np.linspace(-1, 1, 9)
    assert bar_echoes._vertex(x, 5 - (x - 0.3) ** 2) == pytest.approx(0.3)
    assert bar_echoes._vertex(x, x**2) in (-1.0, 1.0)
    assert bar_echoes._vertex(x, 5 - (x - 3.0) ** 2) == pytest.approx(1.05)
    assert np.isnan(bar_echoes._vertex(x, np.where(x > 0.9, np.nan, x)))
