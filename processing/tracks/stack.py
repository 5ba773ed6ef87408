"""The search for straight objects: coherent sums of the migrated images along every straight line an object could follow.

An object crossing the lines of a group is a line u = u0 + p w, z = z0 + q w in the group's frame (w counted from the middle
pass).
Summing the complex images of all passes along it, for all (u0, z0, p, q), adds echoes in step and clutter at random: a weak
object seen by every pass outgrows clutter that is stronger on each single one.
"""

from dataclasses import dataclass
from typing import Dict, List, Tuple

import numpy as np
from scipy.ndimage import gaussian_filter1d, maximum_filter

from ..common.monitor import Monitor
from ..radar.line_groups import GroupImages, wavelength_m
from ..survey.model import DIPOLE_AXES

# Crossing angles for which images are made; an object's image blurs little within 5 degrees.
IMAGE_ANGLES_RAD = np.radians([0.0, 10.0, 20.0, 30.0, 40.0])
SLOPES = np.round(np.arange(-1.0, 1.0001, 0.02), 4)
DIPS = np.round(np.arange(-0.10, 0.1001, 0.02), 4)
# Echoes in `along` images lie deeper than in `across` ones by this part of the wavelength (near field of the dipoles).
ALONG_LAG = 0.1
# The search works on every second point of the image grid both ways.
STRIDE = 2


@dataclass(frozen=True)
class Track:
    """A straight object in a group's frame: u = u0 + p (w - w_middle), z = z0 + q (w - w_middle).

    `strength` is the stack statistic (1: noise of one image), `coherence` 0..1, `contrast` the strength over its surroundings at
    the same depth.
    """

    u0_m: float
    slope: float
    z0_m: float
    dip: float
    strength: float
    coherence: float
    contrast: float

    def at(self, w) -> Tuple[np.ndarray, np.ndarray]:
        """u and z (metres) at distances w from the group's middle."""
        w = np.asarray(w, float)
        return self.u0_m + self.slope * w, self.z0_m + self.dip * w

    @property
    def crossing_rad(self) -> float:
        return float(abs(np.arctan(self.slope)))


def middle_m(images: GroupImages) -> float:
    """The offset w from which slopes and dips count."""
    offsets = images.group.offsets_m
    return float(0.5 * (offsets[0] + offsets[-1]))


def normalised_images(images: GroupImages, noise: Dict[str, np.ndarray], crossing_rad: float) -> np.ndarray:
    """Images of both dipole axes in units of their noise, `along` moved up by its lag; (axis, pass, distance, depth).

    On the points of the search, which are every `STRIDE`-th both ways.
    """
    step = images.grid.depth_m[1] - images.grid.depth_m[0]
    shape = (-(-count // STRIDE) for count in images.grid.shape)
    out = np.zeros((2, len(images.group.passes), *shape), np.complex64)
    for number, axis in enumerate(DIPOLE_AXES):
        lag = int(round(ALONG_LAG * wavelength_m(images) / step)) if axis == "along" else 0
        image = images.image(axis, crossing_rad, STRIDE, lag)
        out[number, :, :, : image.shape[2]] = image / noise[axis][lag::STRIDE].astype(np.float32)
    return out


def search(
    images: GroupImages, noise: Dict[str, np.ndarray], monitor: Monitor = Monitor(), slopes: np.ndarray = SLOPES
) -> List[Track]:
    """All local maxima of the stack, strongest first, among tracks of these slopes.

    A single pass has no slopes: its maxima are those of its own image.
    """
    grid = images.grid
    u = grid.distance_m[::STRIDE]
    z = grid.depth_m[::STRIDE]
    du, dz = u[1] - u[0], z[1] - z[0]
    offsets = images.group.offsets_m - middle_m(images)
    slopes, dips = (slopes, DIPS) if len(offsets) > 1 else (np.zeros(1), np.zeros(1))
    farthest = np.abs(offsets).max()
    pad_u = int(np.ceil(np.abs(slopes).max() * farthest / du)) + 1
    pad_z = int(np.ceil(np.abs(dips).max() * farthest / dz)) + 1
    present = np.array([images.has[axis] for axis in DIPOLE_AXES])
    strength = np.zeros((len(slopes), len(u), len(z)), np.float32)
    coherence = np.zeros_like(strength)
    dip = np.zeros(strength.shape, np.int8)
    level_shifts = pad_z + np.round(dips[:, None] * offsets / dz).astype(int)
    angle_of = [int(np.argmin(np.abs(IMAGE_ANGLES_RAD - abs(np.arctan(p))))) for p in slopes]
    done = 0
    for angle in sorted(set(angle_of)):
        padded = _padded(normalised_images(images, noise, IMAGE_ANGLES_RAD[angle]), pad_u, pad_z)
        for number in np.flatnonzero(np.array(angle_of) == angle):
            monitor.step(done / len(slopes))
            done += 1
            shifts = pad_u + np.round(slopes[number] * offsets / du).astype(int)
            # How many passes (counting both axes) really cross the object inside the imaged stretch.
            columns = np.arange(len(u))[None, :] + shifts[:, None] - pad_u
            inside = (columns >= 0) & (columns < len(u))
            passes = np.maximum(0.5 * np.sum(present[:, :, None] * inside[None], axis=(0, 1)), 1.0)
            enough = passes >= max(min(2.0, 0.5 * len(offsets)), 0.25 * len(offsets))
            sums = _sums_along(padded, shifts, level_shifts, len(u), len(z))
            power = np.einsum("kzpu,kzpu->kzu", sums[:, :, :-1], sums[:, :, :-1])
            best = power.argmax(axis=0)
            power = np.take_along_axis(power, best[None], axis=0)[0] / passes
            every = np.take_along_axis(sums[:, :, -1], best[None], axis=0)[0]
            coherence[number] = (power / np.maximum(every, 1e-12)).T
            strength[number] = np.where(enough, np.sqrt(power), 0).T * np.minimum(1.0, 2 * coherence[number])
            dip[number] = best.T
    return _peaks(images, strength, coherence, slopes, dips[dip], u, z)


def _padded(image: np.ndarray, pad_u: int, pad_z: int) -> np.ndarray:
    """Real and imaginary parts of both axes, and their energy, with zeros around; shape (pass, depth, part, distance), float32."""
    parts = np.concatenate([image.real, image.imag, np.sum(np.abs(image) ** 2, axis=0, keepdims=True)])
    padding = (0, 0), (pad_z, pad_z), (0, 0), (pad_u, pad_u)
    return np.pad(parts.transpose(1, 3, 0, 2), padding)


def _sums_along(padded, shifts, level_shifts, u_count: int, z_count: int) -> np.ndarray:
    """Sums over the passes along tracks of one slope and all dips; shape (dip, depth, part, distance).

    `shifts` has shape (pass,), `level_shifts` (dip, pass). Rows of all distances and parts lie together, so that a shift in depth
    is a slice and each sum one long addition.
    """
    moved = np.stack([one[:, :, c : c + u_count] for one, c in zip(padded, shifts)])
    sums = np.zeros((len(level_shifts), z_count, *moved.shape[2:]), np.float32)
    for total, levels in zip(sums, level_shifts):
        for one, level in zip(moved, levels):
            total += one[level : level + z_count]
    return sums


def _peaks(images, strength, coherence, slopes, dip, u, z) -> List[Track]:
    wavelength = wavelength_m(images)
    half_u = max(int(round(0.25 * wavelength / (u[1] - u[0]))), 1)
    half_z = max(int(round(0.25 * wavelength / (z[1] - z[0]))), 1)
    top = maximum_filter(strength, (5, 2 * half_u + 1, 2 * half_z + 1))
    best = strength.max(axis=0)
    # The level of the surroundings at a depth: the mean over the whole width.
    around = np.maximum(gaussian_filter1d(best.mean(axis=0), 1.0), 1e-6)
    found = np.argwhere((strength == top) & (strength > 1.3 * around) & (strength > 3.0))
    tracks = [
        Track(
            float(u[j]),
            float(slopes[i]),
            float(z[k]),
            float(dip[i, j, k]),
            float(strength[i, j, k]),
            float(coherence[i, j, k]),
            float(strength[i, j, k] / around[k]),
        )
        for i, j, k in found
    ]
    return sorted(tracks, key=lambda track: -track.strength)
