"""Two-leg paths between separated dipoles and what lies in the concrete, and the depths that follow from them."""

import numpy as np

# Radius that stands for bars, tendons and conduits alike in the travel time; 8 mm more or less moves a limb by 10 ps.
NOMINAL_RADIUS_M = 0.008


def two_leg_path(offset_m, depth_m, separation_m, dipole_axis, crossing_rad=0.0, radius_m=0.0):
    """Length of the path transmitter - straight round bar - receiver, metres.

    Parameters
    ----------
    offset_m : array_like
        Distance along the line from the bar's crossing to the midpoint of the dipoles.
    depth_m : array_like
        Depth to the TOP of the bar below the surface; broadcast with `offset_m`.
    separation_m : float
        Between the dipoles: along the travel direction for dipole axis ``across``, across it for ``along``.
    crossing_rad : float
        Angle between the bar and the normal of the line (0: the bar crosses at right angles).
    radius_m : float
        Radius of the bar; 0 for a thin one.

    Notes
    -----
    Unfold the bar: seen along its axis, each leg runs to the bar's axis at its own offset, the two legs less twice the
    radius make
    `across_bar`; the distance of the dipoles along the bar closes a right-angled triangle. Exact for a thin bar (Fermat's
    principle on the unfolded plane); for a finite radius the legs end on the axis direction instead of the true specular point,
    within 0.02 ns * v at the apex of a bar of 8 mm radius under 50 mm of cover and far less with depth.
    """
    half = 0.5 * separation_m
    if dipole_axis == "across":
        apart_across, apart_along = np.cos(crossing_rad), np.sin(crossing_rad)
    else:
        apart_across, apart_along = np.sin(crossing_rad), np.cos(crossing_rad)
    normal_offset = np.asarray(offset_m, float) * np.cos(crossing_rad)
    axis_depth = np.asarray(depth_m, float) + radius_m
    # np.hypot guards against overflow, which cannot occur here, and takes half as long again.
    squared = axis_depth**2
    legs = (
        np.sqrt((normal_offset - half * apart_across) ** 2 + squared)
        + np.sqrt((normal_offset + half * apart_across) ** 2 + squared)
        - 2 * radius_m
    )
    return np.sqrt(legs**2 + (separation_m * apart_along) ** 2)


def depth_of_path(path_m, separation_m, dipole_axis, radius_m=0.0):
    """Depth to the top of a bar straight below whose path is this long, metres: the inverse of `two_leg_path` at the apex.

    0 where the path is too short for any depth.
    """
    if dipole_axis == "across":
        axis_depth = 0.5 * np.sqrt(np.maximum((np.asarray(path_m) + 2 * radius_m) ** 2 - separation_m**2, 0.0))
        return np.maximum(axis_depth - radius_m, 0.0)
    return depth_of_plane_path(np.asarray(path_m), separation_m)


def plane_path(depth_m, separation_m):
    """Length of the path transmitter - plane - receiver, metres: hypot(2 depth, separation), by the mirror image of one dipole.

    The plane is level, `depth_m` below the dipoles; the same holds for a thin bar in the plane midway between them.
    """
    return np.hypot(2 * np.asarray(depth_m, float), separation_m)


def depth_of_plane_path(path_m, separation_m):
    """Depth of a plane whose path is this long, metres: the inverse of `plane_path`; 0 where it is shorter than the separation."""
    # Not through asarray: the square of a scalar may differ in the last bit from that of an array.
    return 0.5 * np.sqrt(np.maximum(path_m**2 - separation_m**2, 0.0))


def depth_per_path(depth_m, separation_m, radius_m=0.0):
    """Change of the depth that `depth_of_path` gives for dipole axis ``across``, for one metre more of path; the path itself.

    With the depth Z of the axis and H = sqrt(Z^2 + (separation/2)^2), the path is P = 2 H - 2 radius, so that dz/dP = H / (2 Z).
    """
    axis_depth = np.asarray(depth_m, float) + radius_m
    leg = np.hypot(axis_depth, 0.5 * separation_m)
    return 0.5 * leg / axis_depth, 2 * (leg - radius_m)
