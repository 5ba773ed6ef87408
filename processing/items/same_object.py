"""Whether two observations are of one object: decided here for joining areas, knowing again, the record and seams.

Two observations are of one object when they run the same way, meet, and lie no further apart, across and in depth, than their
uncertainties allow. What allows it is a gate of k standard deviations of the difference. With normal errors it turns away

    erfc(k / sqrt 2):  k = 3.29: 0.1 %    2.58: 1 %    2.10: 3.6 %

of the true pairs (two-sided quantiles of the normal distribution). Where two offsets are judged, at most the sum of both rates is
turned away (Bonferroni's inequality). True pairs that a gate turns away stay two items and are told as a disagreement: nothing is
lost.

What is the same *echo* while one area is searched is no matter of these sigmas but of the wavelength (`tracks.artefacts`).
"""

from dataclasses import dataclass
from typing import List, Optional, Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..geometry.along_axis import along_across, chord_direction, straight_on
from ..geometry.boxes import boxes_of, near_one
from ..geometry.polylines import evenly_spaced, length_m, nearest_on
from .model import Item

# The diameter of a thin bar: the axes of two objects side by side are no nearer, however small the stated sigmas are (common
# practice, no source).
NEAREST_M = 0.012
# Neighbours of a mat lie 50 mm apart and more: beyond this an agreement would be one with a neighbour, however large the sigmas.
WIDEST_M = 0.040


@dataclass(frozen=True)
class Gate:
    """How far apart two observations of one object may lie: `sigmas` of their difference, 12 mm at least and 40 mm at most."""

    sigmas: float

    def limit_m(self, sigma_m: float) -> float:
        """The largest offset (metres, not included) for a difference with this 1-sigma."""
        return min(max(self.sigmas * sigma_m, NEAREST_M), WIDEST_M)


# Across: places of two areas or surveys have errors of their own. 0.1 %, as the fit of the areas turns away single observations
# (Baarda 1968, A testing procedure for use in geodetic networks; from memory): seams become observations of that fit.
ACROSS = Gate(3.29)
# In depth: most of an item's sigma is the wave speed's, which areas of one job share, and stated sigmas are 1.1 to 2.1 times the
# errors (docs/calibration.md): 3.6 % is an upper limit. A wider gate would take bars of two layers, one on the other, for one.
IN_DEPTH = Gate(2.1)
# Seams are found to be judged: what disagrees in depth (`DISAGREEING_SIGMAS`) must be among them.
TO_BE_JUDGED = Gate(3.29)
# Two observations that differ by more than this are told to disagree (1 %).
DISAGREEING_SIGMAS = 2.58
# Two short parts (0.3 m, 4 mm across at either end) differ by 1 degree in direction: three times that, and rounded up.
SAME_DIRECTION_RAD = np.radians(4.0)
# Areas that abut leave a strip at their edges where an item's end is not seen.
LARGEST_GAP_M = 0.12
# Shorter stretches side by side are too little to speak of a disagreement, or of two objects.
LONG_ENOUGH_M = 0.1
# This part of a line must run beside another one for the two to be taken for the same object.
MOST_OF_IT = 0.8
# The distance along a line at which that is looked at.
SAMPLE_M = 0.02
# A course is straight where it is longer than its chord by this part at most.
STRAIGHT = 1.02
# Two sightings on one line are the same when they are no further apart than this (along the line, in depth), metres: half an
# antenna's footprint at the surface, and what a change of wave speed makes of a deep echo (common practice, no source).
SAME_PICK_M, SAME_PICK_DEPTH_M = 0.015, 0.030
# An oblique object can be found by both groups of lines of one area, each with the other's errors: directions and places within
# these are one. Nothing else is found twice: half a wavelength is what the lines resolve.
FOUND_TWICE_RAD, FOUND_TWICE_WAVELENGTHS = np.radians(8.0), 0.5


@dataclass(frozen=True)
class Comparison:
    """Two items side by side: offset across and in depth (metres, second minus first) where they meet, and their sigmas."""

    lateral_m: float
    depth_m: float
    sigma_lateral_m: float
    sigma_depth_m: float
    overlap_m: float

    @property
    def agrees(self) -> bool:
        """Are both offsets within their gates?"""
        across, in_depth = ACROSS.limit_m(self.sigma_lateral_m), IN_DEPTH.limit_m(self.sigma_depth_m)
        return abs(self.lateral_m) < across and abs(self.depth_m) < in_depth

    @property
    def is_long(self) -> bool:
        """Do the two run side by side over more than a moment, as pieces that follow each other do not?"""
        return self.overlap_m > LONG_ENOUGH_M

    @property
    def cost(self) -> float:
        """Offset in units of its sigmas; the square root of a chi-square of two degrees of freedom."""
        return float(np.hypot(self.lateral_m / self.sigma_lateral_m, self.depth_m / self.sigma_depth_m))


@dataclass(frozen=True)
class Disagreement:
    """Two items side by side that would be one object but for their offset (metres) beyond both uncertainties."""

    item_ids: Tuple[str, str]
    lateral_m: float
    depth_m: float

    def sentence(self, item_id: str) -> str:
        """What to say at the item `item_id` about the other one."""
        other = next(one for one in self.item_ids if one != item_id)
        return tr(
            "Item {other} beside it differs by {lateral:.0f} mm across and {depth:.0f} mm in depth, more "
            "than both uncertainties allow: check on site.",
            other=other,
            lateral=1000 * abs(self.lateral_m),
            depth=1000 * abs(self.depth_m),
        )


def compare(first: Item, second: Item) -> Optional[Comparison]:
    """How two items lie to each other; None where they run differently or do not meet, or one ends where it starts."""
    if any(np.hypot(*(item.vertices_m[-1, :2] - item.vertices_m[0, :2])) < 1e-6 for item in (first, second)):
        return None
    axis = chord_direction(first.vertices_m)
    other = chord_direction(second.vertices_m)
    if abs(axis @ other) < np.cos(SAME_DIRECTION_RAD):
        return None
    origin = first.vertices_m[0, :2]
    (s1, t1), (s2, t2) = (along_across(item.vertices_m, origin, axis) for item in (first, second))
    low, high = max(s1.min(), s2.min()), min(s1.max(), s2.max())
    if high - low < -LARGEST_GAP_M:
        return None
    where = np.linspace(low, high, 5) if high > low else np.array([0.5 * (low + high)])
    lateral = np.median(straight_on(where, s2, t2) - straight_on(where, s1, t1))
    z1, z2 = first.vertices_m[:, 2], second.vertices_m[:, 2]
    depth = np.median(straight_on(where, s2, z2) - straight_on(where, s1, z1))
    if abs(lateral) > WIDEST_M or abs(depth) > WIDEST_M:
        return None
    return Comparison(
        float(lateral),
        float(depth),
        float(np.hypot(first.sigma_xy_m, second.sigma_xy_m)),
        float(np.hypot(first.sigma_depth_m, second.sigma_depth_m)),
        float(high - low),
    )


def likeness(one: Item, other: Item) -> Optional[float]:
    """Distance of two items in units of their joint sigmas if they can be the same object, else None; bent ones as well."""
    comparison = compare(one, other)
    if comparison is not None and comparison.agrees:
        return comparison.cost
    if is_straight(one) and is_straight(other):
        return None
    # Bent items: by how much of one runs beside the other.
    sigma = float(np.hypot(one.sigma_xy_m, other.sigma_xy_m))
    shorter, longer = sorted((one, other), key=lambda item: length_m(item.vertices_m))
    share, distance = beside(shorter.vertices_m, longer.vertices_m, ACROSS.limit_m(sigma))
    return distance / sigma if share >= MOST_OF_IT else None


def side_by_side(one: Item, other: Item) -> bool:
    """Do two items run beside each other over a stretch, as pieces of one object do not?"""
    comparison = compare(one, other)
    return comparison is not None and comparison.is_long


def is_straight(item: Item) -> bool:
    """Does an item run straight from end to end, but for two per cent of its length?"""
    chord = np.hypot(*(item.vertices_m[-1, :2] - item.vertices_m[0, :2]))
    return bool(length_m(item.vertices_m) <= STRAIGHT * chord)


def beside(line_m, other_m, lateral_m: float = NEAREST_M, depth_m: float = WIDEST_M) -> Tuple[float, float]:
    """How much of a line runs beside another one, and how far from it.

    Parameters
    ----------
    line_m, other_m : (n, 3) array_like
        x, y and depth of the vertices, metres.
    lateral_m, depth_m : float
        Largest distance in plan and in depth that counts as beside, metres.

    Returns
    -------
    share, distance_m : float
        Part of the length (0 to 1), and the mean distance of the whole line in space.
    """
    points = evenly_spaced(line_m, SAMPLE_M)  # so that each stands for as much of the length
    _, in_plan, foot = nearest_on(other_m, points)
    in_depth = np.abs(points[:, 2] - foot[:, 2])
    share = np.mean((in_plan <= lateral_m) & (in_depth <= depth_m))
    return float(share), float(np.mean(np.hypot(in_plan, in_depth)))


class KnownLines:
    """Lines, (n, 3) arrays of x, y and depth (metres), among which the same object is looked for."""

    def __init__(self, lines: Sequence[np.ndarray]):
        self.lines = list(lines)
        self._boxes = boxes_of(self.lines)

    def find_same(self, line_m, sigma_xy_m: float) -> Optional[int]:
        """Number of the line that is the same object as `line_m`, the nearest where several could be; None without one.

        `line_m` must run beside it for most of its length: across within the gate of two such lines, in depth within 40 mm, since a
        new wave speed moves all depths of an area at once.
        """
        reach = ACROSS.limit_m(np.sqrt(2.0) * sigma_xy_m)
        found: List[Tuple[float, int]] = []
        for number in near_one(np.min(line_m, axis=0)[:2], np.max(line_m, axis=0)[:2], self._boxes, reach).tolist():
            share, distance = beside(line_m, self.lines[number], reach)
            if share >= MOST_OF_IT:
                found.append((distance, number))
        return min(found)[1] if found else None
