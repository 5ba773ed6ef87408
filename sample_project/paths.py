"""The way from transmitter to a cylinder's surface to receiver: exact, for antennas apart and a line at any angle."""

from dataclasses import dataclass

import numpy as np


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
