"""Aggregate clutter: many weak point scatterers, fixed in space.

The same stones are seen by both dipole axes, by neighbouring lines and by overlapping areas, because they are drawn tile by
tile of the plan with a seed of the tile.
"""

from dataclasses import dataclass

import numpy as np

from .antenna import HEIGHT_M, antenna_positions, field_below
from .forward import Radar, ScanModel, fade

TILE_M = 0.25
STONES_A_SQUARE_METRE = 1500
# Scattering length at the centre frequency. A stone of 20 mm and 20 % contrast has about 0.4 mm; each scatterer here
# stands for the dozen stones around it.
SCATTERING_LENGTH_M = 0.0014
REACH_M = 0.24
_SHALLOWEST_M = 0.02
# Attenuation is exact at these path lengths and interpolated between them.
_PATHS_M = np.linspace(0.0, 1.2, 9)


@dataclass(frozen=True)
class Stones:
    """Point scatterers: positions (n, 3) and scattering lengths (n,), metres."""

    positions_m: np.ndarray
    strengths_m: np.ndarray


def draw_stones(corner_min, corner_max, thickness_m, seed) -> Stones:
    """All stones in the tiles that a rectangle of the plan touches."""
    low = np.floor(np.asarray(corner_min) / TILE_M).astype(int)
    high = np.floor(np.asarray(corner_max) / TILE_M).astype(int)
    positions, strengths = [], []
    count = round(STONES_A_SQUARE_METRE * TILE_M**2)
    for column in range(low[0], high[0] + 1):
        for row in range(low[1], high[1] + 1):
            # Seeds cannot be negative.
            random = np.random.default_rng([seed, column + 100_000, row + 100_000])
            place = random.random((count, 3)) * [TILE_M, TILE_M, thickness_m - 2 * _SHALLOWEST_M]
            positions.append(place + np.array([column * TILE_M, row * TILE_M, _SHALLOWEST_M]))
            strengths.append(random.normal(0.0, SCATTERING_LENGTH_M, count))
    return Stones(np.concatenate(positions), np.concatenate(strengths))


def clutter_spectra(model: ScanModel, stones: Stones, midpoints_m, travel, axis) -> np.ndarray:
    """Echoes of the stones for one line, complex64, shape (trace, frequency)."""
    radar = model.radar
    transmitter, receiver, dipole = antenna_positions(midpoints_m, travel, axis, radar.separation_m)
    middle = (midpoints_m[0] + midpoints_m[-1]) / 2.0
    half_length = np.linalg.norm(midpoints_m[-1] - midpoints_m[0]) / 2.0
    relative = stones.positions_m[:, :2] - middle
    beside = np.abs(relative @ [-travel[1], travel[0]]) < REACH_M
    near = beside & (np.abs(relative @ np.asarray(travel)) < half_length + REACH_M)
    places, strengths = stones.positions_m[near], stones.strengths_m[near]
    trace, stone = np.nonzero(np.linalg.norm(places[None, :, :2] - midpoints_m[:, None], axis=2) < REACH_M)

    path, amplitude, gap, product = 0.0, strengths[stone], 0.0, 1.0
    fields = []
    for end in (transmitter, receiver):
        leg = places[stone] - end[trace]
        length = np.linalg.norm(leg, axis=1)
        field, air_cosine = field_below(dipole, leg / length[:, None], model.concrete.index)
        fields.append(field)
        path, product, gap = path + length, product * length, gap + air_cosine
    edge = np.linalg.norm(places[stone, :2] - midpoints_m[trace], axis=1) / REACH_M
    amplitude = amplitude * np.sum(fields[0] * fields[1], axis=1) * fade(path) / product / (4.0 * np.pi)
    amplitude = amplitude * np.cos(np.clip(2.0 * edge - 1.0, 0.0, 1.0) * np.pi / 2.0)

    centre = 2.0 * np.pi * radar.centre_ghz
    wavenumber = model.concrete.wavenumber(radar.centre_ghz)
    # The air gap as a phase at the centre frequency: it is a few degrees.
    amplitude = amplitude * np.exp(-1j * gap * HEIGHT_M * model.air[0] / radar.frequency_ghz[0] * radar.centre_ghz)
    delay = path * wavenumber.real / centre
    sums = _delayed_sums(trace, delay, path, amplitude, len(midpoints_m), radar)
    loss = np.exp(np.multiply.outer(_PATHS_M, model.wavenumber.imag))
    rayleigh = (radar.frequency_ghz / radar.centre_ghz) ** 2
    return np.einsum("ptf,pf->tf", sums, loss * model.pulse * rayleigh).astype(np.complex64)


def _delayed_sums(trace, delay_ns, path_m, amplitude, trace_count, radar: Radar):
    """Spectra of delayed pulses, apart by path length: shape (path, trace, frequency).

    Each delay is shared between two samples and each path between two reference lengths (linear interpolation).
    """
    position = delay_ns / radar.interval_ns
    sample = position.astype(int)
    late = position - sample
    place = path_m / (_PATHS_M[1] - _PATHS_M[0])
    node = np.minimum(place.astype(int), len(_PATHS_M) - 2)
    far = place - node
    grid = np.zeros((len(_PATHS_M), trace_count, radar.transform_count), dtype=complex)
    for node_step, node_weight in ((0, 1.0 - far), (1, far)):
        for sample_step, sample_weight in ((0, 1.0 - late), (1, late)):
            index = np.ravel_multi_index((node + node_step, trace, sample + sample_step), grid.shape)
            weight = amplitude * node_weight * sample_weight
            size = grid.size
            grid += (np.bincount(index, weight.real, size) + 1j * np.bincount(index, weight.imag, size)).reshape(
                grid.shape
            )
    return np.fft.fft(grid, axis=2)[:, :, radar.band]
