"""Echo of a cylinder by ray geometry: what the full wave comes to far away, as an oracle for the sample's forward model.

Transmission of the dipole into the concrete (Fresnel), the exact two-leg path, spreading of a point source over a cylinder,
attenuation, the cylinder series for the angle of incidence, and the way back by reciprocity. No near field.
"""

from dataclasses import dataclass

import numpy as np

ORDERS = np.arange(11)


@dataclass(frozen=True)
class CylinderPaths:
    """Geometry of one echo, one entry a trace.

    Attributes
    ----------
    path_m : ndarray
        Length of the two legs to the surface.
    axis_path_m : ndarray
        The same plus the way that the phase of the cylinder series already accounts for.
    bend_rad : ndarray
        Angle between the legs, seen along the axis.
    sine : ndarray
        Sine of the angle between the legs and the axis.
    leg_m : tuple of two ndarrays
        Distances of transmitter and receiver from the axis.
    directions : tuple of two ndarrays, shape (trace, 3)
        Unit vectors from transmitter and receiver to the cylinder.
    tangent : ndarray, shape (trace, 3)
    """

    path_m: np.ndarray
    axis_path_m: np.ndarray
    bend_rad: np.ndarray
    sine: np.ndarray
    leg_m: tuple
    directions: tuple
    tangent: np.ndarray


def ray_echo(model, cast_in, midpoints_m, travel, axis):
    """Spectra of the echo of one item without the pulse, shape (trace, frequency); `midpoints_m` has shape (trace, 2)."""
    from inslab.sample_project.antenna import HEIGHT_M, antenna_positions, field_below
    from inslab.sample_project.cylinders import signs

    transmitter, receiver, dipole = antenna_positions(midpoints_m, travel, axis, model.radar.separation_m)
    point, tangent = cast_in.nearest((transmitter + receiver) / 2.0)
    paths = cylinder_paths(transmitter, receiver, point, tangent, cast_in.diameter_m / 2.0)
    parts, air_cosine = [], 0.0
    for direction in paths.directions:
        field, cosine = field_below(dipole, direction, model.concrete.index)
        air_cosine = air_cosine + cosine
        # Component across both axis and ray (TE), and in the plane of axis and ray (TM).
        across = np.cross(tangent, direction)
        across /= np.linalg.norm(across, axis=1, keepdims=True)
        parts.append((np.sum(field * np.cross(direction, across), axis=1), np.sum(field * across, axis=1)))
    (tm_1, te_1), (tm_2, te_2) = parts
    along = model.wavenumber * np.sqrt(1.0 - paths.sine[:, None] ** 2 + 0j)
    a = cast_in.sort.coefficients(ORDERS[:, None, None], along, model.wavenumber, model.air)
    angles = (signs(ORDERS)[:, None] * np.cos(np.outer(ORDERS, paths.bend_rad)))[:, :, None]
    # The electric field of TE turns over on its way back, that of TM does not.
    amplitude = (te_1 * te_2)[:, None] * (angles * a.te).sum(axis=0) - (tm_1 * tm_2)[:, None] * (angles * a.tm).sum(
        axis=0
    )
    spreading = 1.0 / np.sqrt(paths.leg_m[0] * paths.leg_m[1] * paths.axis_path_m) / (4.0 * np.pi)
    phase = np.multiply.outer(paths.axis_path_m, model.wavenumber) + np.multiply.outer(air_cosine * HEIGHT_M, model.air)
    return spreading[:, None] * amplitude * np.exp(-1j * phase) * np.sqrt(2j / (np.pi * model.wavenumber))


def cylinder_paths(transmitter_m, receiver_m, point_m, tangent, radius_m) -> CylinderPaths:
    """Paths over a straight cylinder through `point_m` (on its axis) along `tangent`; all of shape (trace, 3).

    Unrolled along the axis the path is the hypotenuse of the shortest way seen along the axis and of the shift along it.
    """
    shifts, across, legs = [], [], []
    for end in (transmitter_m, receiver_m):
        offset = end - point_m
        shift = np.sum(offset * tangent, axis=1)
        shifts.append(shift)
        across.append(offset - shift[:, None] * tangent)
        legs.append(np.linalg.norm(across[-1], axis=1))
    bend = np.arccos(np.clip(np.sum(across[0] * across[1], axis=1) / (legs[0] * legs[1]), -1.0, 1.0))
    surface = surface_path(legs[0], legs[1], bend, radius_m)
    shift_squared = (shifts[1] - shifts[0]) ** 2
    axis_path = surface + 2.0 * radius_m * np.cos(bend / 2.0)
    total = np.sqrt(axis_path**2 + shift_squared)
    mirror = (shifts[0] * legs[1] + shifts[1] * legs[0]) / (legs[0] + legs[1])
    target = point_m + mirror[:, None] * tangent
    directions = tuple(
        (target - end) / np.linalg.norm(target - end, axis=1, keepdims=True) for end in (transmitter_m, receiver_m)
    )
    return CylinderPaths(
        np.sqrt(surface**2 + shift_squared), total, bend, axis_path / total, tuple(legs), directions, tangent
    )


def surface_path(leg_1_m, leg_2_m, bend_rad, radius_m):
    """Shortest way from one point to a circle to another point (Fermat), metres.

    The points lie at `leg` from the centre with the angle `bend` between them.
    """
    # Newton on the angle between leg 1 and the radius to the reflection point; the length is convex in it.
    angle = bend_rad * leg_2_m / (leg_1_m + leg_2_m)
    for _ in range(6):
        _, slope_1, curvature_1 = _leg(leg_1_m, angle, radius_m)
        _, slope_2, curvature_2 = _leg(leg_2_m, bend_rad - angle, radius_m)
        angle = angle - (slope_1 - slope_2) / np.maximum(curvature_1 + curvature_2, 1e-12)
    return _leg(leg_1_m, angle, radius_m)[0] + _leg(leg_2_m, bend_rad - angle, radius_m)[0]


def _leg(distance_m, angle, radius_m):
    """Length from a point to the circle's point at `angle`, and its first and second derivative in the angle."""
    cross = radius_m * distance_m
    length = np.sqrt(distance_m**2 + radius_m**2 - 2.0 * cross * np.cos(angle))
    slope = cross * np.sin(angle) / length
    return length, slope, (cross * np.cos(angle) - slope**2) / length
