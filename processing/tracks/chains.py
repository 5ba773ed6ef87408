"""Bent and short objects: straight pieces found in windows of a few passes, chained where they continue one another.

A straight object is found over all passes at once. What bends, or ends inside the area, is straight only over a few passes, and is
looked for there once everything straight has been taken off the traces.
"""

from dataclasses import dataclass, replace
from typing import Dict, List, Sequence, Tuple

import numpy as np

from ..common.monitor import Monitor
from ..radar.line_groups import GroupImages, LineGroup, wavelength_m
from .artefacts import refuse
from .stack import Track, search

WINDOW_M, FEWEST_PASSES = 0.40, 5
# A piece must stand out this much (in stack units), as a link, as the mean of a chain, or alone. Over few passes strength alone
# tells little: leftovers of strong neighbours are strong too, but fall out of step (coherence 0.5 to 0.6 on simulated slabs, that
# of objects 0.75 and more).
LINK_STRENGTH, LINK_COHERENCE, LARGEST_DIP = 6.5, 0.5, 0.061
CHAIN_STRENGTH, CHAIN_COHERENCE = 7.5, 0.68
SINGLE_STRENGTH, SINGLE_COHERENCE = 10.0, 0.75
# Over the short way of a window what crosses an object at a slant is near it on many passes without being it.
SAME_SHARE = 0.7
# How well two pieces must agree where their windows overlap.
STEP_WAVELENGTHS, LEVEL_WAVELENGTHS, LARGEST_TURN = 0.30, 0.20, 0.45


class PassWindow:
    """Some neighbouring passes of a group's images, seen as a group of their own (what `search` needs of `GroupImages`)."""

    def __init__(self, images: GroupImages, first: int, last: int):
        self._images, self._passes = images, slice(first, last)
        self.group = LineGroup(images.group.direction, images.group.passes[first:last])
        self.has = {axis: present[first:last] for axis, present in images.has.items()}
        self.grid, self.speed, self.area = images.grid, images.speed, images.area

    def image(self, *which) -> np.ndarray:
        return self._images.image(*which)[self._passes]


@dataclass(frozen=True)
class Piece:
    """A straight piece in passes `first` to `last` (exclusive); its track counts from the middle of the whole group."""

    track: Track
    first: int
    last: int


def find_chains(
    images: GroupImages,
    noise: Dict[str, np.ndarray],
    offsets_m: np.ndarray,
    accepted: Sequence[Track],
    deepest_m: float,
    monitor: Monitor = Monitor(),
) -> List[List[Piece]]:
    """Chains of pieces, the best first; each piece belongs to one chain only.

    `offsets_m`: the passes' distances from the group's middle. `accepted`: tracks that stand already, for the ghost rules.
    """
    count = len(offsets_m)
    spacing = images.group.spacing_m
    width = max(int(round(WINDOW_M / spacing)) + 1, FEWEST_PASSES) if spacing > 0 else count
    if width >= count:
        return []
    step = max(width // 2, 1)
    starts = sorted({*range(0, count - width, step), count - width})
    rows: List[List[Piece]] = []
    for number, first in enumerate(starts):
        window = PassWindow(images, first, first + width)
        part = monitor.part(number / len(starts), (number + 1) / len(starts))
        rows.append(_pieces(window, noise, offsets_m, first, first + width, accepted, deepest_m, part))
    return _chain(rows, offsets_m, wavelength_m(images))


def _pieces(window, noise, offsets_m, first, last, accepted, deepest_m, monitor) -> List[Piece]:
    wavelength = wavelength_m(window)
    own = offsets_m[first:last]
    middle = 0.5 * (own[0] + own[-1])
    out: List[Piece] = []
    for track in search(window, noise, monitor):
        if (
            track.strength < LINK_STRENGTH
            or track.coherence < LINK_COHERENCE
            or track.z0_m > deepest_m
            or abs(track.dip) > LARGEST_DIP
        ):
            continue
        moved = replace(track, u0_m=track.u0_m - track.slope * middle, z0_m=track.z0_m - track.dip * middle)
        if refuse(moved, [*accepted, *(piece.track for piece in out)], own, wavelength, share=SAME_SHARE) is None:
            out.append(Piece(moved, first, last))
    return out


def _chain(rows: List[List[Piece]], offsets_m, wavelength: float) -> List[List[Piece]]:
    """Greedy: from the strongest free piece as far as neighbours continue it, both ways."""
    free = {(row, number) for row, pieces in enumerate(rows) for number in range(len(pieces))}
    order = sorted(free, key=lambda key: -rows[key[0]][key[1]].track.strength)
    chains = []
    for key in order:
        if key not in free:
            continue
        taken = {key}
        chain = [rows[key[0]][key[1]]]
        for direction in (1, -1):
            row, end = key[0] + direction, chain[-1 if direction > 0 else 0]
            while 0 <= row < len(rows):
                fitting = [
                    (_misfit(end, piece, offsets_m, wavelength), number)
                    for number, piece in enumerate(rows[row])
                    if (row, number) in free
                ]
                best = min(fitting, default=(np.inf, -1))
                if not best[0] < 1.0:
                    break
                taken.add((row, best[1]))
                end = rows[row][best[1]]
                chain = [*chain, end] if direction > 0 else [end, *chain]
                row += direction
        strength = np.mean([piece.track.strength for piece in chain])
        coherence = np.mean([piece.track.coherence for piece in chain])
        if len(chain) > 1:
            good = strength >= CHAIN_STRENGTH and coherence >= CHAIN_COHERENCE
        else:
            good = strength >= SINGLE_STRENGTH and coherence >= SINGLE_COHERENCE
        if good:
            chains.append(chain)
            free -= taken
    return chains


def _misfit(one: Piece, other: Piece, offsets_m, wavelength: float) -> float:
    """How badly two pieces agree where both windows lie, 1 at the limit; infinite where they turn too sharply."""
    first, last = max(one.first, other.first), min(one.last, other.last)
    if last <= first or abs(one.track.slope - other.track.slope) > LARGEST_TURN:
        return np.inf
    where = offsets_m[first:last]
    (u1, z1), (u2, z2) = one.track.at(where), other.track.at(where)
    return float(
        np.hypot(
            np.median(np.abs(u1 - u2)) / (STEP_WAVELENGTHS * wavelength),
            np.median(np.abs(z1 - z2)) / (LEVEL_WAVELENGTHS * wavelength),
        )
    )


def course(chain: Sequence[Piece], offsets_m) -> Tuple[np.ndarray, np.ndarray]:
    """u and z of a chain on each pass, pieces averaged where they overlap (more weight to their middles); NaN beyond it."""
    top_u, top_z, weight = (np.zeros(len(offsets_m)) for _ in range(3))
    for piece in chain:
        inside = np.arange(piece.first, piece.last)
        w = offsets_m[inside]
        u, z = piece.track.at(w)
        share = np.minimum(inside - piece.first + 1, piece.last - inside)
        top_u[inside] += share * u
        top_z[inside] += share * z
        weight[inside] += share
    with np.errstate(invalid="ignore", divide="ignore"):
        return top_u / weight, top_z / weight
