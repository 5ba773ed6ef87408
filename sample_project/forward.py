"""Radar traces over concrete with cylinders in it: the full wave of each cylinder alone, added up.

Each echo is that of an endless cylinder below a half-space (`near_field`, read from `echo_tables`). Direct wave and slab base
complete the trace; `clutter` adds the aggregate. Slab base and aggregate are ray geometry: they lie or count far away.

Left out on purpose: multiple echoes between objects, and shadows. An object that curves or dips counts as straight and level
where the echo comes from; beside its end the echo fades as Fresnel's integral says.

The frame is that of the scan: local x, y, depth down from the scanned surface; metres, GHz, ns.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import fresnel

from .antenna import HEIGHT_M, dipole_axis_vectors, direct_wave, ricker_spectrum
from .echo_tables import echo_tables, two_way
from .materials import Concrete, free_wavenumber

# Echoes fade out between these path lengths: both lie beyond the record.
FADE_START_M, FADE_END_M = 0.95, 1.15
# Further from its end an item counts as endless.
ENDS_SEEN_M = 0.6


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

    @property
    def pulse(self) -> np.ndarray:
        """Spectrum of the emitted pulse, shape (frequency,)."""
        return ricker_spectrum(self.frequency_ghz, self.centre_ghz)


class ScanModel:
    """Echoes of one scan area: its concrete, its slab base and what is cast in, in the scan's own frame.

    `sorts`: a tuple of all sorts of cylinders that some areas have between them, so that they share one set of tables.
    """

    def __init__(self, radar: Radar, concrete: Concrete, thickness_m: float, objects, sorts=None):
        self.radar = radar
        self.concrete = concrete
        self.thickness_m = thickness_m
        self.objects = objects
        f = radar.frequency_ghz
        self.air = free_wavenumber(f)
        self.wavenumber = concrete.wavenumber(f)
        self.pulse = radar.pulse
        self.tables = echo_tables(radar, concrete, sorts or sorts_of(objects))

    def spectra(self, midpoints_m, travel, axis) -> np.ndarray:
        """Spectra of direct wave, slab base and all objects, complex64, shape (trace, frequency).

        `midpoints_m`, shape (trace, 2), lie midway between the dipoles.
        """
        dipole, _ = dipole_axis_vectors(travel, axis)
        midpoints = np.c_[midpoints_m, np.zeros(len(midpoints_m))]
        common = self.pulse * (self.direct() + self.slab_base())
        spectra = np.tile(common.astype(np.complex64), (len(midpoints), 1))
        for cast_in in self.objects:
            near = _within_reach(cast_in, midpoints)
            if near.any():
                spectra[near] += self._cylinder(cast_in, midpoints[near], dipole)
        return spectra

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

    def _cylinder(self, cast_in, midpoints_m, dipole) -> np.ndarray:
        point, tangent = cast_in.nearest(midpoints_m)
        toward = point - midpoints_m
        along = tangent[:, :2] / np.linalg.norm(tangent[:, :2], axis=1, keepdims=True)
        offset = toward[:, 0] * along[:, 1] - toward[:, 1] * along[:, 0]
        # Of an item that dips a little, the distance counts: it stands for the depth of a level one.
        depth = np.sqrt(np.sum(toward**2, axis=1) - offset**2)
        cosine = along @ dipole
        spectra = self.tables.spectra(cast_in.sort, offset, depth, cosine)
        _, way = two_way(offset, depth, cosine, self.radar.separation_m)
        spectra *= fade(way - cast_in.diameter_m).astype(np.float32)[:, None]
        for inside in cast_in.distances_to_ends(midpoints_m):
            near = inside < ENDS_SEEN_M
            if near.any():
                spectra[near] *= beside_end(inside[near], way[near] / 2.0, self.wavenumber.real)
        return spectra


def beside_end(inside_m, distance_m, wavenumber):
    """Share of an endless item's echo that is left beside its end (Fresnel's integral), shape (trace, frequency).

    `inside_m` is how far the point that answers lies before the end, negative beyond it; `distance_m` how far away it is.
    """
    place = inside_m[:, None] * np.sqrt(2.0 * wavenumber / (np.pi * distance_m[:, None]))
    sine, cosine = fresnel(place)
    return ((0.5 + 0.5j) * (0.5 + cosine - 1j * (0.5 + sine))).astype(np.complex64)


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


def sorts_of(objects):
    """The sorts of cylinders among the objects, in a fixed order."""
    return tuple(sorted({item.sort for item in objects}, key=lambda sort: (sort.is_metal, sort.diameter_m)))
