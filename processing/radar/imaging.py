"""The depth volume of an area: both line directions and both dipole axes on one grid, in dB over local noise.

There is no gain curve. Cylindrical spreading is undone by the migration's weights; what attenuation and the rest of the spreading
take away with depth they take from the clutter around an echo as well, so that both cancel where the image is divided by its own
median magnitude at each depth. Only pictures of raw traces need a gain (`views.radargrams`).
"""

from typing import List, Optional, Tuple

import numpy as np

from ..common.monitor import Monitor
from ..geometry.two_leg import depth_of_plane_path
from ..survey.model import DIPOLE_AXES
from .line_groups import GroupImages, LineGroup, group_lines, noise_profiles
from .migration import ImageGrid
from .model import DepthVolume, SlabBase, WaveSpeed
from .preprocessing import PreparedArea
from .slab_base import find_slab_base

DEEPEST_M = 0.95
BELOW_BASE_M = 0.05
IMAGE_STEP_M = 0.005
# Between passes farther apart than this nothing is known.
WIDEST_GAP_M = 0.25


def find_base(
    prepared: PreparedArea, speed: WaveSpeed, *, cell_m: float = 0.01, monitor: Monitor = Monitor()
) -> SlabBase:
    """Slab base of an area on the plan grid of its volume."""
    groups = group_lines(prepared)
    return find_slab_base(prepared, groups, speed, *plan_grid(groups, cell_m), monitor)


def image_area(
    prepared: PreparedArea,
    speed: WaveSpeed,
    base: SlabBase,
    *,
    cell_m: float = 0.01,
    depth_step_m: float = 0.01,
    max_depth_m: Optional[float] = None,
    monitor: Monitor = Monitor(),
) -> Optional[DepthVolume]:
    """Migrate all lines of an area into one volume; None where no two lines are parallel (a line on its own has no slices).

    Parameters
    ----------
    cell_m, depth_step_m : float
        Cell of the plan grid and thickness of one depth slice.
    max_depth_m : float, optional
        Depth of the lowest slice's lower face; by default what the record holds, at most 0.95 m, and no more than 50 mm below
        the slab base where that is seen.

    Notes
    -----
    Strength is the largest envelope within the slice. Between passes it is interpolated linearly, never beyond the passes or
    across a wide gap, so that nothing appears that no pass has seen. Of the dipole axes, `across` counts alone at shallow depth,
    both count from one wavelength down. A cell shows the stronger of the two line directions: each sees what crosses it.
    """
    groups = [group for group in group_lines(prepared) if len(group.passes) > 1]
    if not groups:
        return None
    x_m, y_m = plan_grid(groups, cell_m)
    lowest = max_depth_m or min(
        DEEPEST_M,
        recorded_depth_m(prepared, speed),
        float(np.nanmedian(base.thickness_m)) + BELOW_BASE_M if base.seen else np.inf,
    )
    count = max(int(round(lowest / depth_step_m)), 1)
    depth_m = (np.arange(count) + 0.5) * depth_step_m
    volume = np.full((len(y_m), len(x_m), count), np.nan, np.float32)
    for number, group in enumerate(groups):
        monitor.step(number / len(groups))
        strength = group_strength(prepared, group, speed, depth_m, depth_step_m)
        volume = np.fmax(volume, _onto_plan(group, strength, x_m, y_m))
    return DepthVolume(prepared.area.area_id, x_m, y_m, depth_m, volume)


def plan_grid(groups: List[LineGroup], cell_m: float) -> Tuple[np.ndarray, np.ndarray]:
    """Cell centres covering all passes of an area; x (column,) and y (row,), metres."""
    ends = []
    for group in groups:
        low, high = group.extent_m
        offsets = group.offsets_m
        corners = np.array([(low, offsets[0]), (high, offsets[0]), (low, offsets[-1]), (high, offsets[-1])])
        ends.append(group.to_local(corners[:, 0], corners[:, 1]))
    corners = np.concatenate(ends)
    axes = []
    for low, high in zip(corners.min(axis=0), corners.max(axis=0)):
        count = max(int(np.ceil((high - low) / cell_m - 1e-9)), 1)
        axes.append(0.5 * (low + high) + (np.arange(count) - 0.5 * (count - 1)) * cell_m)
    return axes[0], axes[1]


def recorded_depth_m(prepared: PreparedArea, speed: WaveSpeed) -> float:
    """Depth whose echo still lies inside the record with a period to spare, metres."""
    last = prepared.time_ns[-1] + prepared.reference_ns - speed.time_zero_ns - 1.0 / prepared.area.centre_frequency_ghz
    return float(depth_of_plane_path(speed.speed_m_ns * last, prepared.area.antenna_separation_m))


def group_strength(prepared, group: LineGroup, speed: WaveSpeed, depth_m, depth_step_m) -> np.ndarray:
    """Largest envelope within each slice over the local noise, dB; shape (pass, distance, slice)."""
    wavelength = speed.speed_m_ns / prepared.area.centre_frequency_ghz
    fine = max(int(np.ceil(depth_step_m / (wavelength / 24))), 2)
    levels = (depth_m[:, None] + depth_step_m * ((np.arange(fine) + 0.5) / fine - 0.5)).ravel()
    low, high = group.extent_m
    grid = ImageGrid(np.linspace(low, high, max(int(round((high - low) / IMAGE_STEP_M)), 1) + 1), levels)
    images = GroupImages(prepared, group, speed, grid)
    power = np.zeros((len(group.passes), *grid.shape), np.float32)
    weight = np.zeros((len(group.passes), 1, len(levels)), np.float32)
    share = {"across": np.ones_like(levels), "along": np.clip(2 * levels / wavelength - 1, 0.0, 1.0)}
    noise = noise_profiles(images)
    for axis in DIPOLE_AXES:
        present = images.has[axis]
        if not present.any():
            continue
        magnitude = np.abs(images.image(axis))
        # Where a pass lacks the `across` axis, `along` must do at all depths.
        part = np.where(present[:, None], share[axis] if images.has["across"].all() else 1.0, 0.0).astype(np.float32)
        power += part[:, None, :] * (magnitude / noise[axis].astype(np.float32)) ** 2
        weight += part[:, None, :]
    strongest = (power / np.maximum(weight, 1e-6)).reshape(*power.shape[:2], len(depth_m), fine).max(axis=3)
    return (10 * np.log10(np.maximum(strongest, 1e-4))).astype(np.float32)


def _onto_plan(group: LineGroup, strength: np.ndarray, x_m, y_m) -> np.ndarray:
    """Bilinear interpolation of (pass, distance, slice) onto the plan grid (row, column, slice); NaN outside the passes."""
    grid_x, grid_y = np.meshgrid(x_m, y_m)
    u, w = group.from_local(np.stack([grid_x, grid_y], axis=-1))
    low, high = group.extent_m
    offsets = group.offsets_m
    lower = np.clip(np.searchsorted(offsets, w, side="right") - 1, 0, len(offsets) - 2)
    gap = offsets[lower + 1] - offsets[lower]
    part_w = (w - offsets[lower]) / np.maximum(gap, 1e-9)
    position = (u - low) / (high - low) * (strength.shape[1] - 1)
    column = np.clip(np.floor(position).astype(int), 0, strength.shape[1] - 2)
    part_u = position - column
    tolerance = 1e-6
    inside = (part_w >= -tolerance) & (part_w <= 1 + tolerance) & (u >= low - tolerance) & (u <= high + tolerance)
    inside &= gap <= min(WIDEST_GAP_M, 1.6 * group.spacing_m)
    # By hand: passes are not evenly apart, which `scipy.ndimage.map_coordinates` asks for.
    part_w, part_u = (np.clip(part, 0, 1)[..., None].astype(np.float32) for part in (part_w, part_u))
    first = strength[lower, column] * (1 - part_u) + strength[lower, column + 1] * part_u
    second = strength[lower + 1, column] * (1 - part_u) + strength[lower + 1, column + 1] * part_u
    return np.where(inside[..., None], first * (1 - part_w) + second * part_w, np.nan).astype(np.float32)
