"""A found track made exact: where each pass sees the object, and the smooth curve through those sightings."""

from dataclasses import dataclass, field
from typing import Dict, Optional

import numpy as np

from ..common.robust import fit_polynomial
from ..radar.focus import focus
from ..radar.line_groups import GroupImages, wavelength_m
from ..radar.preprocessing import parabola_vertex
from ..survey.model import DIPOLE_AXES
from .stack import ALONG_LAG, Track, middle_m

# How far a sighting may lie from the track, in wavelengths (lateral, depth).
WINDOW = (0.22, 0.30)
# An object this far outside the traces still shows the near limb of its hyperbola.
BEYOND_M = 0.04


@dataclass
class Curve:
    """u(w) and z(w) as polynomials in w, the distance from the group's middle, highest power first; covariances by pass
    scatter."""

    u: np.ndarray
    z: np.ndarray
    u_covariance: np.ndarray
    z_covariance: np.ndarray

    def at(self, w):
        return np.polyval(self.u, w), np.polyval(self.z, w)

    def sigma_at(self, w):
        return poly_sigma(self.u_covariance, w), poly_sigma(self.z_covariance, w)


@dataclass(eq=False)
class Sightings:
    """One object as seen by each pass of a group.

    Attributes
    ----------
    w_m, u_m, depth_m : ndarray, shape (pass,)
        Offset from the middle, place along the pass and image depth of the envelope's maximum in the images of the axis that sees
        the object best (`lead_axis`), at the phase of the stack; NaN where not seen.
    axis_depth_m : dict of dipole axis to ndarray, shape (pass,)
        The same depth in the images of each axis.
    amplitude : dict of dipole axis to ndarray, shape (pass,)
        Image magnitude at the object in recorded units (direct wave = 1, after migration weights).
    strength : dict of dipole axis to ndarray, shape (pass,)
        The same over the local noise.
    stacked : dict of dipole axis to float
        Magnitude of the stack over all passes, over its noise.
    phase_rad : dict of dipole axis to float
        Phase of the image stacked along the object, at its envelope's maximum; pi means a negative pulse.
    """

    track: Track
    w_m: np.ndarray
    u_m: np.ndarray
    depth_m: np.ndarray
    axis_depth_m: Dict[str, np.ndarray]
    weight: np.ndarray
    amplitude: Dict[str, np.ndarray]
    strength: Dict[str, np.ndarray]
    stacked: Dict[str, float]
    phase_rad: Dict[str, float]
    lead_axis: str
    curve: Optional[Curve] = field(default=None)

    @property
    def seen(self) -> np.ndarray:
        return np.isfinite(self.u_m)


def poly_sigma(covariance: np.ndarray, w) -> np.ndarray:
    powers = np.vander(np.atleast_1d(np.asarray(w, float)), len(covariance))
    return np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", powers, covariance, powers), 0.0))


def sight(
    images: GroupImages, traces: Dict[str, np.ndarray], noise: Dict[str, np.ndarray], track: Track, u_m, depth_m
) -> Sightings:
    """Find the object on every pass near the given places.

    The echo's phase in the stack of all passes is the template: a pass sees the object where its own echo has that phase.

    Parameters
    ----------
    traces : dict of dipole axis to ndarray
        Traces with this object's echo in them, other objects' taken off where known.
    noise : dict of dipole axis to ndarray, shape (depth,)
        Noise of the images by depth, on the depths of `images.grid`.
    u_m, depth_m : ndarray, shape (pass,)
        Where to look.
    """
    wavelength = wavelength_m(images)
    depths = images.grid.depth_m
    step_u = np.arange(-4, 5) * WINDOW[0] * wavelength / 4
    step_z = np.arange(-9, 10) * WINDOW[1] * wavelength / 9
    extent = images.group.extent_m
    inside = (u_m > extent[0] - BEYOND_M) & (u_m < extent[1] + BEYOND_M)
    patches, phase, strengths, amplitudes, stacked = {}, {}, {}, {}, {}
    for axis in DIPOLE_AXES:
        depth = depth_m + (ALONG_LAG * wavelength if axis == "along" else 0.0)
        patch = focus(images, axis, traces[axis], u_m, depth, step_u, step_z, track.crossing_rad)
        use = inside & images.has[axis]
        patch[~use] = np.nan
        patches[axis] = patch
        local_noise = np.interp(depth, depths, noise[axis])
        amplitudes[axis] = np.where(use, np.abs(np.nan_to_num(patch)).max(axis=(1, 2)), np.nan)
        strengths[axis] = amplitudes[axis] / local_noise
        if use.any():
            stack = patch[use].mean(axis=0)
            peak = np.unravel_index(np.argmax(np.abs(stack)), stack.shape)
            phase[axis] = float(np.angle(stack[peak]))
            stacked[axis] = float(abs(stack[peak]) / np.median(local_noise[use]) * np.sqrt(use.sum()))
        else:
            phase[axis], stacked[axis] = np.nan, 0.0
    lead = max(DIPOLE_AXES, key=lambda axis: stacked[axis])
    places = {
        axis: _maxima((patch * np.exp(-1j * np.nan_to_num(phase[axis]))).real, step_u, step_z)
        for axis, patch in patches.items()
    }
    axis_depth = {
        axis: depth_m + (ALONG_LAG * wavelength if axis == "along" else 0.0) + place[1]
        for axis, place in places.items()
    }
    w = images.group.offsets_m - middle_m(images)
    return Sightings(
        track,
        w,
        u_m + places[lead][0],
        axis_depth[lead],
        axis_depth,
        places[lead][2],
        amplitudes,
        strengths,
        stacked,
        phase,
        lead,
    )


def _maxima(patches: np.ndarray, step_u: np.ndarray, step_z: np.ndarray):
    """Place (metres from the centre) and height of the maximum of each patch, between its points; NaN where there is none."""
    count = len(patches)
    out_u, out_z, height = np.full(count, np.nan), np.full(count, np.nan), np.zeros(count)
    for number, patch in enumerate(patches):
        if not np.isfinite(patch[0, 0]) or not patch.max() > 0:
            continue
        i, j = np.unravel_index(np.argmax(patch[1:-1, 1:-1]), (patch.shape[0] - 2, patch.shape[1] - 2))
        i, j = i + 1, j + 1
        out_u[number] = step_u[i] + parabola_vertex(patch[i - 1 : i + 2, j]) * (step_u[1] - step_u[0])
        out_z[number] = step_z[j] + parabola_vertex(patch[i, j - 1 : j + 2]) * (step_z[1] - step_z[0])
        height[number] = patch[i, j]
    return out_u, out_z, height


def fit_curve(sightings: Sightings, lateral_degree: int = 1) -> Curve:
    """Smooth curve through the sightings: lateral of the degree asked, depth of degree 0 to 2 by the Bayesian criterion."""
    w, weight = sightings.w_m, np.where(sightings.seen, sightings.weight, 0.0)
    count = int(((weight > 0) & np.isfinite(sightings.depth_m)).sum())
    u, u_cov, _ = fit_polynomial(w, sightings.u_m, weight, lateral_degree, 0.0015)
    best = None
    for degree in range(0, min(2, max(count - 3, 0)) + 1):
        z, z_cov, scatter = fit_polynomial(w, sightings.depth_m, weight, degree, 0.0010)
        score = 2 * count * np.log(scatter) + (degree + 1) * np.log(max(count, 2))
        if best is None or score < best[0] - 2.0:
            best = score, z, z_cov
    return Curve(u, best[1], u_cov, best[2])
