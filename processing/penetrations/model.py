"""What is drilled, what is in the way, and how far the two must stay apart."""

from dataclasses import dataclass, field, replace
from typing import Mapping, Sequence

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.vocabulary.kinds import KINDS

# A kind that an item may be with at least this probability counts with its keep-out and its size.
POSSIBLE_KIND = 0.05


@dataclass(frozen=True)
class KindRule:
    """What is assumed of one kind of item. To be set by the responsible engineer.

    Attributes
    ----------
    keep_out_m : float
        Distance to keep between the drilled cylinder and the object's surface, metres.
    smallest_diameter_m, largest_diameter_m : float
        Between these the unknown size of the object lies, every size as likely as any other, metres. Distances count to the
        largest one.
    """

    keep_out_m: float
    smallest_diameter_m: float
    largest_diameter_m: float


DEFAULT_RULES: Mapping[str, KindRule] = {
    key: KindRule(kind.keep_out_m, kind.smallest_diameter_m, kind.largest_diameter_m) for key, kind in KINDS.items()
}


def check_rules(rules: Mapping[str, KindRule]) -> None:
    """Raises `ProcessingError` for a missing kind, a negative keep-out or diameters out of order."""
    for kind in KINDS:
        rule = rules.get(kind)
        if rule is None:
            raise ProcessingError(
                tr("There is no keep-out distance for the kind {kind}; add its row to the table.", kind=kind)
            )
        if not 0 <= rule.keep_out_m < np.inf:
            raise ProcessingError(
                tr("The keep-out distance of the kind {kind} must be zero or more metres.", kind=kind)
            )
        if not 0 < rule.smallest_diameter_m <= rule.largest_diameter_m < np.inf:
            raise ProcessingError(
                tr("The diameters of the kind {kind} must be above zero, the smallest one first.", kind=kind)
            )


def rule_for(probabilities: Mapping[str, float], kind: str, rules: Mapping[str, KindRule]) -> KindRule:
    """The strictest of what is assumed of the kinds that an item may be."""
    possible = {kind, *(other for other, share in probabilities.items() if share >= POSSIBLE_KIND)}
    chosen = [rules[other] for other in sorted(possible)]
    return KindRule(
        max(rule.keep_out_m for rule in chosen),
        min(rule.smallest_diameter_m for rule in chosen),
        max(rule.largest_diameter_m for rule in chosen),
    )


@dataclass(frozen=True)
class Obstacle:
    """One item as something to keep away from.

    Attributes
    ----------
    vertices_m : ndarray, shape (n, 3)
        Site x, y and depth to the top, metres.
    sigma_xy_m, sigma_depth_m : float
        1-sigma across the item in plan (fit of its area included) and of its depth, metres.
    confidence : float
        0 to 1: that there is an object at all.
    """

    item_id: str
    kind: str
    vertices_m: np.ndarray = field(compare=False)
    sigma_xy_m: float
    sigma_depth_m: float
    confidence: float
    rule: KindRule


@dataclass(frozen=True)
class Confidence:
    """How sure 'clear' must be.

    Attributes
    ----------
    keep_out : float
        Probability with which the keep-out distance to each item must hold.
    touch_limit : float
        Largest probability of touching any item.
    depth_tolerance_m : float
        1-sigma of the drilled depth, metres.
    """

    keep_out: float = 0.95
    touch_limit: float = 0.001
    depth_tolerance_m: float = 0.005

    def check(self) -> None:
        """Raises `ProcessingError` for what is no probability or no length."""
        if not (0.5 <= self.keep_out < 1 and 0 < self.touch_limit <= 0.5):
            raise ProcessingError(
                tr(
                    "The confidence must be at least 0.5 and below 1, and the largest probability of touching above "
                    "0 and at most 0.5."
                )
            )
        if not 0 <= self.depth_tolerance_m < np.inf:
            raise ProcessingError(tr("The tolerance of the drilled depth must be zero or more metres."))

    def needed_m(self, keep_out_m, sigma_m):
        """Distance that must be left to an object's surface, for arrays of keep-out and 1-sigma, metres."""
        from scipy.special import ndtri

        of_keep_out = keep_out_m + ndtri(self.keep_out) * sigma_m
        return np.maximum(of_keep_out, ndtri(1.0 - self.touch_limit) * sigma_m)


@dataclass(frozen=True)
class Penetrations:
    """Planned holes, one entry each.

    Attributes
    ----------
    ids : sequence of str
    entry_m : ndarray, shape (n, 2)
        Site position of the axis at the scanned surface, metres.
    diameter_m, depth_m, tolerance_m : ndarray, shape (n,)
        Drilled diameter and length along the axis, and 1-sigma of setting out in each direction of the plan, metres.
    azimuth_rad, tilt_rad : ndarray, shape (n,)
        Direction in plan towards which the hole leans, clockwise from the site's y axis, and its angle from the
        perpendicular to the surface.
    """

    ids: Sequence[str]
    entry_m: np.ndarray = field(compare=False)
    diameter_m: np.ndarray = field(compare=False)
    depth_m: np.ndarray = field(compare=False)
    tolerance_m: np.ndarray = field(compare=False)
    azimuth_rad: np.ndarray = field(compare=False)
    tilt_rad: np.ndarray = field(compare=False)

    @classmethod
    def upright(cls, entry_m, diameter_m, depth_m, tolerance_m) -> "Penetrations":
        """Holes perpendicular to the surface; single numbers hold for all."""
        entry_m = np.atleast_2d(np.asarray(entry_m, float))
        count = len(entry_m)
        columns = [
            np.broadcast_to(np.asarray(c, float), (count,)) for c in (diameter_m, depth_m, tolerance_m, 0.0, 0.0)
        ]
        return cls([f"P{i + 1}" for i in range(count)], entry_m, *columns)

    def __len__(self) -> int:
        return len(self.entry_m)

    @property
    def axis(self) -> np.ndarray:
        """Unit vectors along the holes (x, y, depth), shape (n, 3)."""
        lean = np.sin(self.tilt_rad)
        return np.stack(
            [lean * np.sin(self.azimuth_rad), lean * np.cos(self.azimuth_rad), np.cos(self.tilt_rad)], axis=-1
        )

    @property
    def reached_depth_m(self) -> np.ndarray:
        """Depth of the deepest point of the drilled cylinder below the surface, metres, shape (n,)."""
        return self.depth_m * np.cos(self.tilt_rad) + 0.5 * self.diameter_m * np.sin(self.tilt_rad)

    def subset(self, which) -> "Penetrations":
        """The holes that an index array or mask names."""
        which = np.arange(len(self))[which]
        columns = (self.entry_m, self.diameter_m, self.depth_m, self.tolerance_m, self.azimuth_rad, self.tilt_rad)
        return Penetrations([self.ids[i] for i in which], *(column[which] for column in columns))

    def moved_to(self, entry_m) -> "Penetrations":
        """The same holes at other places, shape (n, 2)."""
        return replace(self, entry_m=np.asarray(entry_m, float))
