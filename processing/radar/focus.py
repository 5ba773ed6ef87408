"""Migrated values at chosen points only: sharp where a whole image would be wasted, as around one object."""

import numpy as np

from ..geometry.two_leg import NOMINAL_RADIUS_M, two_leg_path
from .line_groups import GroupImages
from .migration import APERTURE_M, APERTURE_MARGIN_M, APERTURE_SLOPE, unaliased


def sample_traces(traces: np.ndarray, time_ns: np.ndarray, instants_ns: np.ndarray, chosen=None) -> np.ndarray:
    """Linear interpolation in time; zero outside the record.

    Parameters
    ----------
    traces : ndarray, shape (pass, trace, sample)
    instants_ns : ndarray, shape (pass, chosen, ...)
    chosen : int ndarray, shape (pass, chosen), optional
        Which traces of each pass; all where it is not given.

    Returns
    -------
    ndarray, shape of `instants_ns`
    """
    # By hand: only the time lies between samples. `scipy.ndimage.map_coordinates` would weigh all three axes, and differ in the
    # last bits.
    position = (instants_ns - time_ns[0]) / (time_ns[1] - time_ns[0])
    sample = np.floor(position).astype(np.int64)
    fraction = (position - sample).astype(np.float32)
    inside = (sample >= 0) & (sample < len(time_ns) - 1)
    sample = np.where(inside, sample, 0)
    extra = (1,) * (instants_ns.ndim - 2)
    first = np.arange(traces.shape[0]).reshape(-1, 1, *extra)
    second = np.arange(traces.shape[1])[None] if chosen is None else chosen
    second = second.reshape(*second.shape, *extra)
    values = traces[first, second, sample] * (1 - fraction) + traces[first, second, sample + 1] * fraction
    return np.where(inside, values, 0)


def near_traces(distances_m: np.ndarray, u_m: np.ndarray, reach_m: float):
    """Indices of the traces within reach of each pass's own place, and their offsets from it.

    Returns
    -------
    index : int ndarray, shape (pass, near)
    offset : ndarray, shape (pass, near), metres, NaN where a pass has no further trace in reach
    """
    offset = distances_m - u_m[:, None]
    within = np.abs(offset) <= reach_m
    count = max(int(within.sum(axis=1).max()), 1)
    order = np.argsort(np.where(within, np.abs(offset), np.inf), axis=1)[:, :count]
    chosen = np.take_along_axis(offset, order, axis=1)
    return order, np.where(np.take_along_axis(within, order, axis=1), chosen, np.nan)


def focus(images: GroupImages, axis: str, traces, u_m, depth_m, step_u, step_z, crossing_rad: float) -> np.ndarray:
    """Migrated patches around one point on each pass.

    Parameters
    ----------
    traces : ndarray, complex, shape (pass, trace, sample)
        As `images.traces[axis]`, or a changed copy of it.
    u_m, depth_m : ndarray, shape (pass,)
        Centres of the patches.
    step_u, step_z : ndarray
        Offsets of the patch's points from its centre, metres.

    Returns
    -------
    ndarray, complex, shape (pass, len(step_u), len(step_z)), weighted as in `migration_operator`
    """
    centre = np.where(np.isfinite(u_m), u_m, -1e3)
    farthest = min(APERTURE_M, APERTURE_SLOPE * (np.nanmax(depth_m) + step_z.max()) + APERTURE_MARGIN_M)
    index, offset = near_traces(images.distances_m(axis), centre, farthest + np.abs(step_u).max())
    spacing = np.nanmedian(np.abs(np.diff(images.distances_m(axis), axis=1))) if traces.shape[1] > 1 else 1.0
    z = np.maximum(depth_m[:, None, None, None] + step_z, 0.004)
    x = offset[:, :, None, None] - step_u[None, None, :, None]
    time = two_leg_path(x, z, images.area.antenna_separation_m, axis, crossing_rad, NOMINAL_RADIUS_M)
    time = time / images.speed.speed_m_ns
    reach = np.minimum(APERTURE_M, APERTURE_SLOPE * z + APERTURE_MARGIN_M)
    weight = z / np.sqrt((x * np.cos(crossing_rad)) ** 2 + z**2) * np.sqrt(time) * spacing * (np.abs(x) <= reach)
    weight *= unaliased(x, z, spacing, images.speed.speed_m_ns, crossing_rad, images.area.centre_frequency_ghz)
    values = sample_traces(traces, images.time_ns, np.nan_to_num(time, nan=-1e3), index)
    return np.nansum(values * np.nan_to_num(weight), axis=1)
