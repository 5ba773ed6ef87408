"""Radar traces over concrete with cylinders in it: spectra by ray geometry and cylinder series.

Each echo is: transmission of the dipole into the concrete, the exact two-leg path, spreading of a point source over a
cylinder, attenuation along the path, the cylinder's TM and TE amplitude for the angle of incidence, and the way back to
the other dipole (by reciprocity). The direct wave and the slab base complete the trace; `clutter` adds the aggregate.

Left out on purpose: multiple echoes between objects, shadows, near-field terms of the dipole below the surface. An object
that curves counts as straight where the echo comes from.

The frame is that of the scan: local x, y, depth down from the scanned surface; metres, GHz, ns.
"""

from dataclasses import dataclass

import numpy as np

from .antenna import HEIGHT_M, dipole_axis_vectors, direct_wave, field_below, ricker_spectrum
from .cylinders import CylinderEcho
from .materials import Concrete, free_wavenumber
from .paths import cylinder_paths

# Echoes fade out between these path lengths: both lie beyond the record.
FADE_START_M, FADE_END_M = 0.95, 1.15


@dataclass(frozen=True)
class Radar:
    """The recording: centre frequency, antenna separation, sampling."""

    centre_ghz: float = 1.5
    separation_m: float = 0.06
    interval_ns: float = 0.015
    sample_count: int = 640
    transform_count: int = 1024

    @property
    def band(self) -> slice:
        """The bins of the real Fourier transform that carry the pulse: up to 3 times the centre frequency."""
        return slice(1, int(3.0 * self.centre_ghz * self.transform_count * self.interval_ns) + 1)

    @property
    def frequency_ghz(self) -> np.ndarray:
        return np.arange(self.transform_count)[self.band] / (self.transform_count * self.interval_ns)


class ScanModel:
    """Echoes of one scan area: its concrete, its slab base and what is cast in, in the scan's own frame."""

    def __init__(self, radar: Radar, concrete: Concrete, thickness_m: float, objects):
        self.radar = radar
        self.concrete = concrete
        self.thickness_m = thickness_m
        self.objects = objects
        f = radar.frequency_ghz
        self.air = free_wavenumber(f)
        self.wavenumber = concrete.wavenumber(f)
        self.pulse = ricker_spectrum(f, radar.centre_ghz)
        self._echoes = {}

    def spectra(self, midpoints_m, travel, axis) -> np.ndarray:
        """Spectra of direct wave, slab base and all objects, complex64, shape (trace, frequency).

        `midpoints_m`, shape (trace, 2), lie midway between the dipoles.
        """
        transmitter, receiver, dipole = antenna_positions(midpoints_m, travel, axis, self.radar.separation_m)
        sum_of_echoes = np.zeros((len(midpoints_m), len(self.air)), dtype=np.complex64)
        for cast_in in self.objects:
            near = _within_reach(cast_in, (transmitter + receiver) / 2.0)
            if near.any():
                sum_of_echoes[near] += self._cylinder(cast_in, transmitter[near], receiver[near], dipole)
        common = self.direct() + self.slab_base()
        return (self.pulse * (sum_of_echoes + common)).astype(np.complex64)

    def direct(self) -> np.ndarray:
        """Direct wave without the pulse, shape (frequency,)."""
        permittivity = self.concrete.complex_permittivity(self.radar.frequency_ghz)
        return direct_wave(self.air, permittivity, self.radar.separation_m)

    def slab_base(self) -> np.ndarray:
        """Echo of the slab's far face against air, without the pulse, shape (frequency,)."""
        path = np.hypot(2.0 * self.thickness_m, self.radar.separation_m)
        cosine, sine = 2.0 * self.thickness_m / path, self.radar.separation_m / path
        n = self.concrete.index
        # The plane of incidence is perpendicular to the dipoles (broadside): TE, with a positive coefficient.
        air_cosine = np.sqrt(1.0 - (n * sine) ** 2)
        through = 2.0 * n * cosine / (n * cosine + air_cosine)
        reflection = (n * cosine - air_cosine) / (n * cosine + air_cosine)
        gap = 2.0 * self.air * HEIGHT_M * air_cosine
        return through**2 * reflection * np.exp(-1j * (self.wavenumber * path + gap)) / (4.0 * np.pi * path)

    def _cylinder(self, cast_in, transmitter, receiver, dipole) -> np.ndarray:
        radius = cast_in.diameter_m / 2.0
        point, tangent = cast_in.nearest((transmitter + receiver) / 2.0)
        paths = cylinder_paths(transmitter, receiver, point, tangent, radius)
        parts, air_cosine = [], 0.0
        for direction in paths.directions:
            field, cosine = field_below(dipole, direction, self.concrete.index)
            air_cosine = air_cosine + cosine
            # Component across both axis and ray (TE), and in the plane of axis and ray (TM).
            across = np.cross(tangent, direction)
            across /= np.linalg.norm(across, axis=1, keepdims=True)
            parts.append((np.sum(field * np.cross(direction, across), axis=1), np.sum(field * across, axis=1)))
        (tm_1, te_1), (tm_2, te_2) = parts
        tm, te = self._echo_of(cast_in).amplitudes(paths.bend_rad, paths.sine)
        # The electric field of TE turns over on its way back, that of TM does not (the series is for the field along
        # the axis: electric for TM, magnetic for TE).
        amplitude = (te_1 * te_2)[:, None] * te - (tm_1 * tm_2)[:, None] * tm
        spreading = fade(paths.path_m) / np.sqrt(paths.leg_m[0] * paths.leg_m[1] * paths.axis_path_m) / (4.0 * np.pi)
        phase = np.multiply.outer(paths.axis_path_m, self.wavenumber) + np.multiply.outer(
            air_cosine * HEIGHT_M, self.air
        )
        wave = np.exp((-1j * phase).astype(np.complex64)) * np.sqrt(2j / (np.pi * self.wavenumber))
        return (spreading[:, None] * amplitude * wave).astype(np.complex64)

    def _echo_of(self, cast_in) -> CylinderEcho:
        key = (cast_in.is_metal, cast_in.diameter_m)
        if key not in self._echoes:
            inner = None if cast_in.is_metal else self.air
            self._echoes[key] = CylinderEcho(cast_in.diameter_m / 2.0, self.wavenumber, inner)
        return self._echoes[key]


def antenna_positions(midpoints_m, travel, axis, separation_m):
    """Transmitter and receiver, shape (trace, 3) each with depth 0, and the dipoles' unit vector (2,)."""
    dipole, apart = dipole_axis_vectors(travel, axis)
    middle = np.c_[midpoints_m, np.zeros(len(midpoints_m))]
    half = np.r_[apart, 0.0] * separation_m / 2.0
    return middle - half, middle + half, dipole


def fade(path_m):
    """1 up to the start of the fade, 0 beyond its end."""
    part = np.clip((FADE_END_M - path_m) / (FADE_END_M - FADE_START_M), 0.0, 1.0)
    return np.sin(part * np.pi / 2.0) ** 2


def to_traces(spectra, radar: Radar, delay_ns) -> np.ndarray:
    """Real traces from spectra, float64, shape (trace, sample); time zero falls at `delay_ns` (one, or one a trace)."""
    shift = np.exp(-2j * np.pi * np.multiply.outer(np.atleast_1d(delay_ns), radar.frequency_ghz))
    full = np.zeros((len(spectra), radar.transform_count // 2 + 1), dtype=complex)
    full[:, radar.band] = spectra * shift
    return np.fft.irfft(full, radar.transform_count, axis=1)[:, : radar.sample_count] / radar.interval_ns


def _within_reach(cast_in, points_m):
    point, _ = cast_in.nearest(points_m)
    return np.linalg.norm(point - points_m, axis=1) < FADE_END_M / 2.0
