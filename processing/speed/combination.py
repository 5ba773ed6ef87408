"""Wave speed and time zero of an area: the estimate from the direct wave, and how estimates are combined."""

from dataclasses import dataclass, replace
from typing import Optional, Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..radar.model import SPEED_OF_LIGHT_M_NS, EchoUse, RegionSpeed, WaveSpeed
from ..radar.preprocessing import PreparedArea
from .direct_wave import DirectWaveFit

# Scatter of the direct wave's result on simulated slabs: relative speed, and time zero as a part of the period.
DIRECT_SPEED_SIGMA, TIME_ZERO_SIGMA = 0.020, 0.012
# What fitting the pulse's bandwidth and phase as well adds to both: with them the direct wave alone tells the speed to 3 to 8 %
# only (simulated slabs), and the bars decide.
GENERAL_SPEED_SIGMA, GENERAL_TIME_ZERO_SIGMA = 0.04, 0.02
# A separation stated wrong by a millimetre shifts the direct wave's speed by about 1 % (measured). Time zero moves by 2 ps, which
# is left out: its own sigma is 8 ps at 1.5 GHz.
SEPARATION_SIGMA_M, SPEED_PER_SEPARATION = 0.0005, 10.0
# What an assumed conductivity may do to the direct wave's speed (measured: 2 to 6 % for concrete of 0.06 to 0.09 S/m).
CONDUCTIVITY_SPEED_SIGMA = 0.02
# Plausible for concrete from oven-dry to saturated, relative permittivity 4.0 to 18.3; outside it the result is flagged.
PLAUSIBLE_M_NS = (0.07, 0.15)
WORST_MISFIT = 0.003
DISAGREEMENT_SIGMAS = 2.5
# Halves of an area that differ by less (relative) count as alike.
SMALLEST_DIFFERENCE = 0.03


@dataclass(frozen=True)
class SpeedEvidence:
    """A speed from outside the radar data and its 1-sigma, m/ns; `per_time_zero` is what an error of time zero (ns) adds to it."""

    name: str
    speed_m_ns: float
    sigma_m_ns: float
    per_time_zero: float


def from_direct_wave(prepared: PreparedArea, direct: DirectWaveFit, conductivity_known: bool = False) -> WaveSpeed:
    """The direct wave's own estimate; its sigmas grow with the misfit of the antenna model.

    `conductivity_known`: the conductivity was measured on the slab base, not assumed.
    """
    speed = SPEED_OF_LIGHT_M_NS / np.sqrt(direct.permittivity)
    is_ricker = direct.pulse.is_ricker
    relative = np.sqrt(
        (DIRECT_SPEED_SIGMA * direct.penalty) ** 2
        + (SPEED_PER_SEPARATION * SEPARATION_SIGMA_M) ** 2
        + (0.0 if conductivity_known else CONDUCTIVITY_SPEED_SIGMA**2)
        + (0.0 if is_ricker else GENERAL_SPEED_SIGMA**2)
    )
    period = 1.0 / prepared.area.centre_frequency_ghz
    return WaveSpeed(
        prepared.area.area_id,
        float(speed),
        float(speed * relative),
        float(prepared.reference_ns - direct.lag_ns),
        float(period * np.hypot(TIME_ZERO_SIGMA * direct.penalty, 0.0 if is_ricker else GENERAL_TIME_ZERO_SIGMA)),
        "direct wave",
        warnings=_antenna_warnings(prepared, direct),
        pulse_phase_rad=direct.pulse.phase_rad,
        antenna_separation_m=prepared.area.antenna_separation_m,
    )


def _antenna_warnings(prepared: PreparedArea, direct: DirectWaveFit) -> Tuple[str, ...]:
    area = prepared.area
    out = []
    if direct.misfit > WORST_MISFIT:
        out.append(
            tr(
                "the direct wave differs from the antenna model by {misfit:.1f} % of its peak (antenna "
                "separation {antenna_separation:.0f} mm, frequency {centre_frequency_mhz:.0f} MHz as stated); "
                "check both. The stated uncertainties are widened.",
                misfit=100 * direct.misfit,
                antenna_separation=1000 * area.antenna_separation_m,
                centre_frequency_mhz=area.centre_frequency_mhz,
            )
        )
    if not direct.pulse.is_ricker:
        out.append(
            tr(
                "the antenna's pulse is not a Ricker pulse (a Gaussian's derivative of order {order:.1f}, turned "
                "by {phase:.0f} degrees, describes it): it was fitted as well, and the uncertainties are widened.",
                order=direct.pulse.order,
                phase=np.degrees(direct.pulse.phase_rad),
            )
        )
    if not 0.8 < direct.pulse.peak_ghz / area.centre_frequency_ghz < 1.25:
        out.append(
            tr(
                "the pulse's frequency is about {peak:.0f} MHz, not {centre_frequency_mhz:.0f} MHz as stated; "
                "the measured one is used.",
                peak=1000 * direct.pulse.peak_ghz,
                centre_frequency_mhz=area.centre_frequency_mhz,
            )
        )
    return tuple(out)


def combine(
    prepared: PreparedArea,
    first: WaveSpeed,
    direct: DirectWaveFit,
    bars: Optional[Tuple[float, float]],
    echoes: Sequence[EchoUse],
    regions: Sequence[RegionSpeed] = (),
) -> WaveSpeed:
    """The direct wave's speed and that of the bars, by inverse variance; a disagreement widens the sigma and is said.

    So does a difference between two halves of the area (`regions`, in pairs): one speed is then wrong in both.
    """
    warnings = list(first.warnings)
    if bars is None:
        result = replace(first, echoes=tuple(echoes))
    else:
        speed, sigma = bars
        weights = np.array([first.sigma_m_ns**-2, sigma**-2])
        mean = float(weights @ [first.speed_m_ns, speed] / weights.sum())
        both = float(np.hypot(first.sigma_m_ns, sigma))
        ratio = abs(first.speed_m_ns - speed) / both
        # Where two estimates differ by more than they should, both sigmas were too small (Birge ratio).
        widen = max(1.0, ratio)
        if ratio > DISAGREEMENT_SIGMAS:
            # The direct wave hangs on the stated separation, 1 % a millimetre, the bars hardly do.
            mean = float(speed)
            warnings.append(
                tr(
                    "the direct wave gives {speed_m_ns:.4f} m/ns and the bars give {speed:.4f} m/ns, {ratio:.1f} "
                    "sigmas apart: check the stated antenna separation and frequency, or enter a known depth. The "
                    "value from the bars is used, with its sigma widened.",
                    speed_m_ns=first.speed_m_ns,
                    speed=speed,
                    ratio=ratio,
                )
            )
        result = replace(
            first,
            speed_m_ns=mean,
            sigma_m_ns=float(widen * (sigma if ratio > DISAGREEMENT_SIGMAS else 1 / np.sqrt(weights.sum()))),
            sigma_time_zero_ns=first.sigma_time_zero_ns * widen,
            method="direct wave and bar echoes",
            echoes=tuple(echoes),
            regions=tuple(regions),
        )
    result = replace(result, sigma_m_ns=result.sigma_m_ns * direct.strangeness)
    for one, other in zip(regions[::2], regions[1::2]):
        apart = abs(one.speed_m_ns - other.speed_m_ns)
        both = float(np.hypot(one.sigma_m_ns, other.sigma_m_ns))
        if apart > max(DISAGREEMENT_SIGMAS * both, SMALLEST_DIFFERENCE * result.speed_m_ns):
            # If the speed changes evenly it is off by up to `apart` at the area's edges, by this much in the root mean square.
            spread = apart / np.sqrt(3.0)
            result = replace(result, sigma_m_ns=float(np.hypot(result.sigma_m_ns, spread)))
            warnings.append(
                tr(
                    "the wave speed is not the same everywhere: {one_speed:.4f} m/ns ({one}) and {other_speed:.4f} "
                    "m/ns ({other}), as happens where concrete is wetter on one side. One speed is used for the "
                    "area, with its sigma widened; scan such parts as separate areas, or enter a known depth in each.",
                    one_speed=one.speed_m_ns,
                    one=one.where,
                    other_speed=other.speed_m_ns,
                    other=other.where,
                )
            )
    return _checked(replace(result, warnings=tuple(warnings)))


def combine_with_known(
    speed: WaveSpeed, evidence: Sequence[SpeedEvidence], correlation: Optional[np.ndarray] = None
) -> WaveSpeed:
    """Wave speed and time zero adjusted to what is known besides, by least squares.

    `correlation`, shape (evidence, evidence), is that of the errors of the evidence; None: they are independent.

    Unknowns are speed v and time zero t. Observed are both as `speed` has them, with their covariance, and for each known depth
    v - g (t - t0) = its speed, where g is `per_time_zero`: depths at two levels together tell the two apart. What is further from
    the radar's speed than its sigmas allow is said, and widens the result (Birge ratio).
    """
    if not evidence:
        return speed
    before = np.diag([speed.sigma_m_ns**2, speed.sigma_time_zero_ns**2])
    before[0, 1] = before[1, 0] = speed.correlation * speed.sigma_m_ns * speed.sigma_time_zero_ns
    rows = np.array([[1.0, -one.per_time_zero] for one in evidence])
    sigmas = np.array([one.sigma_m_ns for one in evidence])
    differences = np.array([one.speed_m_ns - speed.speed_m_ns for one in evidence])
    apart = np.abs(differences) / np.sqrt(sigmas**2 + np.einsum("ij,jk,ik->i", rows, before, rows))
    warnings = list(speed.warnings)
    for one, ratio in zip(evidence, apart):
        if ratio > DISAGREEMENT_SIGMAS:
            warnings.append(
                tr(
                    "{name} gives {speed_m_ns:.4f} m/ns, but the echoes give {speed_m_ns2:.4f} m/ns, {ratio:.1f} "
                    "sigmas apart: check depth and place, the antenna separation and frequency. The uncertainty is "
                    "widened.",
                    name=one.name,
                    speed_m_ns=one.speed_m_ns,
                    speed_m_ns2=speed.speed_m_ns,
                    ratio=ratio,
                )
            )
    among = np.outer(sigmas, sigmas) * (np.eye(len(evidence)) if correlation is None else correlation)
    weighted = np.linalg.solve(among, rows)
    covariance = np.linalg.inv(np.linalg.inv(before) + rows.T @ weighted)
    change = covariance @ (weighted.T @ differences)
    left = differences - rows @ change
    misfit = left @ np.linalg.solve(among, left) + change @ np.linalg.solve(before, change)
    covariance = covariance * max(1.0, misfit / len(evidence))
    sigma, sigma_zero = np.sqrt(np.diag(covariance))
    return _checked(
        replace(
            speed,
            speed_m_ns=float(speed.speed_m_ns + change[0]),
            sigma_m_ns=float(sigma),
            time_zero_ns=float(speed.time_zero_ns + change[1]),
            sigma_time_zero_ns=float(sigma_zero),
            correlation=float(covariance[0, 1] / (sigma * sigma_zero)),
            method=f"{speed.method}, {len(evidence)} known",
            warnings=tuple(warnings),
        )
    )


def _checked(speed: WaveSpeed) -> WaveSpeed:
    """With a warning where the speed is none of concrete."""
    if PLAUSIBLE_M_NS[0] < speed.speed_m_ns < PLAUSIBLE_M_NS[1]:
        return speed
    sentence = tr(
        "a wave speed of {speed_m_ns:.3f} m/ns is not plausible for concrete; enter a known depth or speed.",
        speed_m_ns=speed.speed_m_ns,
    )
    return speed if sentence in speed.warnings else replace(speed, warnings=(*speed.warnings, sentence))
