"""Finding the objects that cross one group of lines: search, accept, take off, look again, refine.

Strong objects are accepted first and their echoes taken off the traces; what they hid, and what only looked like an object
because of them, is then judged on cleaner data, with a lower threshold each round.
"""

from dataclasses import dataclass, field
from typing import Dict, List, Optional, Sequence

import numpy as np

from ..common.monitor import Monitor
from ..common.robust import robust_sigma
from ..geometry.mat import FEWEST_BARS, FLAT_DIP, SAME_SLOPE, layer_in_area_m
from ..radar.line_groups import GroupImages, noise_profiles, wavelength_m
from ..survey.model import DIPOLE_AXES
from .artefacts import beside_stronger, refuse
from .chains import course, find_chains
from .echo import Echo, add_echo, learn_echo
from .polarity import is_neither
from .refine import BEYOND_M, Sightings, fit_curve, sight
from .stack import ALONG_LAG, SLOPES, Track, middle_m, search

# The stack statistic of Gaussian noise alone reaches about 5, that of clutter 6 to 7 (both measured on simulated slabs).
THRESHOLD = 8.0
ROUNDS = (1.75, 1.25, 1.0)
# On one pass nothing adds up, so an echo is believed from twice the level of its image's clutter on.
SINGLE_THRESHOLD = 4.0
# Without support from a mat an object must stand out more.
ALONE_FACTOR, ALONE_COHERENCE = 1.25, 0.5
MEMBER_FACTOR, MEMBER_COHERENCE = 0.9, 0.42
# This near the surface the tail of the direct wave and of bars running along the lines looks like an object.
SURFACE_WAVELENGTHS, SURFACE_FACTOR = 0.25, 2.0
# Slanting rows of such leftovers lie down to half a wavelength, but fall out of step: 0.50 to 0.60 on simulated slabs.
SHALLOW_WAVELENGTHS, SHALLOW_COHERENCE = 0.6, 0.65
# A weak echo on its own, or beside shallow bars, must have the sign of metal or of a void. Dense mats turn that of deeper bars.
WEAK, SIGN_WAVELENGTHS = 1.75 * THRESHOLD, 0.75
# A bar of a mat much weaker than its neighbours at the same depth is an echo of them.
MEMBER_SHARE, VOUCHED_SHARE = 0.45, 0.7
# At the ends of the lines the limbs of bars outside make weak rows; bars themselves are seen from one side only.
EDGE_M, EDGE_SHARE = 0.045, 0.7
# A chain over this share of the passes that strays less than this from a line adds up as a line as well.
LONG_SHARE, STRAIGHT_WAVELENGTHS = 0.8, 0.2
# Sightings of a straight object scatter by 2 to 3 mm about it.
STRAY_M = 0.006


@dataclass(eq=False)
class Found:
    """One accepted object of a group: how it was found, where each pass sees it, and its echo.

    `where` says on which passes a bent or short object lies (bool, shape (pass,)); None for one found over all passes.
    """

    track: Track
    sightings: Sightings
    echo: Echo = field(default_factory=Echo, repr=False)
    where: Optional[np.ndarray] = None

    @property
    def curve(self):
        return self.sightings.curve


class GroupSearch:
    """The search over one group; `found` holds the result after `run`."""

    def __init__(
        self,
        images: GroupImages,
        base_m: Optional[float],
        rounds: Sequence[float] = ROUNDS,
        bent: bool = True,
        largest_slope: float = np.inf,
    ):
        self.images = images
        self.rounds, self.bent = rounds, bent
        self.slopes = SLOPES[np.abs(SLOPES) <= largest_slope]
        self.base_m = base_m
        self.wavelength = wavelength_m(images)
        self.offsets = images.group.offsets_m - middle_m(images)
        self.noise = noise_profiles(images)
        self.traces: Dict[str, np.ndarray] = {axis: images.traces[axis].copy() for axis in DIPOLE_AXES}
        self.found: List[Found] = []

    def run(self, monitor: Monitor = Monitor()) -> List[Found]:
        if len(self.offsets) < 2:
            return self._run_single(monitor)
        straight = monitor.part(0.0, 0.6 if self.bent else 1.0)
        candidates: Optional[List[Track]] = None
        for number, factor in enumerate(self.rounds):
            start = number / len(self.rounds)
            part = straight.part(start, start + 0.8 / len(self.rounds))
            # Where the round before took nothing off, there is nothing else to be seen.
            if candidates is None:
                candidates = search(self.images, self.noise, part, self.slopes)
            new = self._accept(candidates, factor * THRESHOLD)
            for track in new:
                sightings = self._sight(track, *track.at(self.offsets))
                if sightings is not None:
                    self.found.append(Found(track, sightings))
            if new:
                self._take_off()
                for axis in DIPOLE_AXES:
                    self.images.replace_traces(axis, self.traces[axis].copy())
                candidates = None
        self._prune()
        self._take_off()
        if self.bent:
            self._add_chains(monitor.part(0.6, 1.0))
        return self.found

    def let_go(self) -> None:
        """Forget traces, images and echoes: what was found stands without them, and is small enough to be handed on."""
        self.images.let_go()
        self.traces = {}
        for one in self.found:
            one.echo = Echo()

    def _add_chains(self, monitor: Monitor) -> None:
        """Bent and short objects among what is left, and in place of straight ones that their sightings do not bear out."""
        doubtful = [one for one in self.found if self._doubtful(one)]
        self._put_back(doubtful)
        self.found = [one for one in self.found if one not in doubtful]
        for axis in DIPOLE_AXES:
            self.images.replace_traces(axis, self.traces[axis].copy())
        accepted = [one.track for one in self.found]
        deepest = np.inf if self.base_m is None else self.base_m - 0.2 * self.wavelength
        chains = find_chains(self.images, self.noise, self.offsets, accepted, deepest, monitor)
        bent: List[Found] = []
        for chain in chains:
            u, z = course(chain, self.offsets)
            strongest = max((piece.track for piece in chain), key=lambda track: track.strength)
            sightings = sight(self.images, self.traces, self.noise, strongest, u, z)
            if not sightings.seen.any():
                continue
            sightings.curve = fit_curve(sightings, lateral_degree=min(len(chain), 3))
            one = Found(strongest, sightings, where=np.isfinite(u))
            in_place = any(self._apart(one, other) < 0.6 * self.wavelength for other in doubtful)
            if not in_place and (self._seen_straight(u) or self._without_sign(one, 0)):
                continue
            bent.append(one)
        # A doubtful straight object stays where no chain runs along it.
        self.found += bent
        self.found += [
            one for one in doubtful if not any(self._apart(one, other) < 0.6 * self.wavelength for other in bent)
        ]
        if bent or doubtful:
            self._take_off()

    def _seen_straight(self, u: np.ndarray) -> bool:
        """Whether a course is so long and straight that the search over all passes, which is the surer one, has judged it."""
        known = np.isfinite(u)
        if known.mean() < LONG_SHARE:
            return False
        line = np.polyval(np.polyfit(self.offsets[known], u[known], 1), self.offsets[known])
        return bool(np.max(np.abs(u[known] - line)) < STRAIGHT_WAVELENGTHS * self.wavelength)

    def _doubtful(self, one: Found) -> bool:
        """Whether an object outside any mat strays from its straight line by more than sightings do."""
        if len(self._mates(one.track, [other.track for other in self.found])) >= FEWEST_BARS - 1:
            return False
        sightings = one.sightings
        use = sightings.seen & (sightings.weight > 0.3 * np.max(sightings.weight))
        away = (sightings.u_m - one.curve.at(sightings.w_m)[0])[use]
        return bool(len(away) >= 4 and robust_sigma(away) > STRAY_M)

    def _apart(self, one: Found, other: Found) -> float:
        """Median distance of two objects on the passes that both have, metres; infinite where they share none."""
        (u1, z1), (u2, z2) = self.place(one), self.place(other)
        away = np.hypot(u1 - u2, z1 - z2)
        return float(np.nanmedian(away)) if np.isfinite(away).any() else np.inf

    def _put_back(self, objects: Sequence[Found]) -> None:
        for one in objects:
            for axis in DIPOLE_AXES:
                add_echo(self.traces[axis], one.echo, axis, +1)
            one.echo = Echo()

    def _run_single(self, monitor: Monitor) -> List[Found]:
        """A line on its own: the maxima of its image that no ghost rule explains. There is nothing to stack or to take off."""
        taken: List[Track] = []
        for candidate in search(self.images, self.noise, monitor):
            too_deep = self.base_m is not None and candidate.z0_m > self.base_m - 0.2 * self.wavelength
            if candidate.strength < SINGLE_THRESHOLD or too_deep:
                continue
            if refuse(candidate, taken, self.offsets, self.wavelength) is None:
                taken.append(candidate)
                self.found.append(Found(candidate, self._sight(candidate, *candidate.at(self.offsets))))
        return self.found

    def _accept(self, candidates: List[Track], threshold: float) -> List[Track]:
        """The candidates to believe in this round, strongest first.

        Members of a mat vouch for one another: at a level where two or more parallel objects stand, accepted or candidates
        that no ghost rule explains, a weaker one is believed too.
        """
        taken = [one.track for one in self.found]
        eligible = [
            candidate
            for candidate in candidates
            if candidate.strength >= MEMBER_FACTOR * threshold
            and candidate.coherence >= MEMBER_COHERENCE
            and (self.base_m is None or candidate.z0_m < self.base_m - 0.2 * self.wavelength)
        ]
        vouchers = [
            candidate
            for candidate in eligible
            if candidate.coherence >= ALONE_COHERENCE
            and self._along_a_mat(candidate, taken)
            and refuse(candidate, taken, self.offsets, self.wavelength) is None
        ]
        new: List[Track] = []
        for candidate in eligible:
            mates = self._mates(candidate, taken + new + [one for one in vouchers if one not in new])
            in_mat = len(mates) >= FEWEST_BARS - 1
            if in_mat:
                # Near a mat's depth whatever is much weaker than its bars comes from them, even where it forms a row of its own.
                row = self._mates(candidate, taken + new, 0.5 * self.wavelength) or mates
                share = EDGE_SHARE if self._at_the_edge(candidate) else MEMBER_SHARE
                typical = float(np.median([mate.strength for mate in row]))
                good = candidate.strength >= share * typical
                # Only a bar about as strong as its neighbours is vouched for where two others would bounce.
                in_mat = candidate.strength >= VOUCHED_SHARE * typical
            else:
                shallow = candidate.z0_m < SURFACE_WAVELENGTHS * self.wavelength
                factor = SURFACE_FACTOR if shallow else ALONE_FACTOR
                in_step = candidate.coherence >= self._least_coherence(candidate)
                good = candidate.strength >= factor * threshold and in_step
            if good and refuse(candidate, taken + new, self.offsets, self.wavelength, in_mat) is None:
                new.append(candidate)
        return new

    def _least_coherence(self, candidate: Track) -> float:
        """What an object without a mat must reach."""
        return SHALLOW_COHERENCE if candidate.z0_m < SHALLOW_WAVELENGTHS * self.wavelength else ALONE_COHERENCE

    def _without_sign(self, one: Found, mates: int) -> bool:
        """Whether a weak echo has the sign of nothing that is cast in."""
        judged = mates < FEWEST_BARS - 1 or one.track.z0_m < SIGN_WAVELENGTHS * self.wavelength
        return judged and one.track.strength < WEAK and is_neither(one.sightings)

    def _at_the_edge(self, candidate: Track) -> bool:
        low, high = self.images.group.extent_m
        return not low + EDGE_M < np.median(candidate.at(self.offsets)[0]) < high - EDGE_M

    @staticmethod
    def _along_a_mat(candidate: Track, taken: List[Track]) -> bool:
        """Whether three or more flat accepted objects run in the candidate's direction."""
        return (
            sum(abs(other.slope - candidate.slope) <= SAME_SLOPE and abs(other.dip) <= FLAT_DIP for other in taken)
            >= FEWEST_BARS
        )

    def _mates(self, candidate: Track, others: List[Track], tolerance: Optional[float] = None) -> List[Track]:
        """Parallel flat objects within a tolerance (metres) of the candidate's depth: the mat that it may belong to."""
        tolerance = tolerance or layer_in_area_m(self.wavelength)
        if abs(candidate.dip) > FLAT_DIP:
            return []
        return [
            other
            for other in others
            if other is not candidate
            and abs(other.slope - candidate.slope) <= SAME_SLOPE
            and abs(other.z0_m - candidate.z0_m) <= tolerance
            and abs(other.dip) <= FLAT_DIP
        ]

    def _sight(self, track: Track, u, z, earlier=None) -> Optional[Sightings]:
        """Sightings with their curve; None where no pass has any, as of something too far beyond the lines' ends."""
        sightings = sight(self.images, self.traces, self.noise, track, u, z)
        if not sightings.seen.any():
            return None
        sightings.curve = fit_curve(sightings, lateral_degree=1 if earlier is None else len(earlier.u) - 1)
        return sightings

    def _take_off(self) -> None:
        """Take all echoes off, each learnt with the others gone; twice, so that neighbours settle."""
        extent = self.images.group.extent_m
        for _ in range(2):
            for one in self.found:
                if one.echo.values:
                    for axis in DIPOLE_AXES:
                        add_echo(self.traces[axis], one.echo, axis, +1)
                    u, z = self.place(one)
                    refined = self._sight(one.track, u, z, one.curve)
                    if refined is not None and (one.where is not None or self._stayed(one.track, refined)):
                        one.sightings = refined
                u, z = self.place(one)
                u = np.where((u > extent[0] - BEYOND_M) & (u < extent[1] + BEYOND_M), u, np.nan)
                one.echo = learn_echo(self.images, self.traces, u, z, one.track.crossing_rad)
                for axis in DIPOLE_AXES:
                    add_echo(self.traces[axis], one.echo, axis, -1)

    def place(self, one: Found):
        """u and image depth of an object on each pass, on the depth scale of the `across` images."""
        u, z = self._course(one.sightings)
        return (u if one.where is None else np.where(one.where, u, np.nan)), z

    def _course(self, sightings: Sightings):
        u, z = sightings.curve.at(self.offsets)
        return u, z - (ALONG_LAG * self.wavelength if sightings.lead_axis == "along" else 0.0)

    def _stayed(self, track: Track, sightings: Sightings) -> bool:
        """Whether refined sightings are still of the object that was found, not of a neighbour they slid to."""
        u, z = self._course(sightings)
        away = np.hypot(u - track.at(self.offsets)[0], z - track.at(self.offsets)[1])
        return bool(np.median(away) < 0.35 * self.wavelength)

    def _prune(self) -> None:
        """Drop what turns out to be a ghost now that all objects are known, and objects that the refinement merged."""
        kept: List[Found] = []
        for one in sorted(self.found, key=lambda one: -one.track.strength):
            others = [other.track for other in kept]
            mates = self._mates(one.track, [other.track for other in self.found if other is not one])
            u, z = self.place(one)
            merged = any(
                np.mean(np.hypot(u - self.place(other)[0], z - self.place(other)[1]) < 0.25 * self.wavelength) > 0.5
                for other in kept
            )
            midway = beside_stronger(
                one.track, [o.track for o in self.found if o is not one], self.offsets, self.wavelength
            )
            ghost = refuse(one.track, others, self.offsets, self.wavelength, len(mates) >= FEWEST_BARS - 1)
            if merged or midway or ghost or self._without_sign(one, len(mates)):
                self._put_back([one])
                continue
            kept.append(one)
        self.found = kept
