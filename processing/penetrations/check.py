"""Verdicts on planned penetrations: clear, too close, hits or unknown, and why."""

from dataclasses import dataclass
from typing import List, Mapping, Optional

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.kinds import UNKNOWN_KIND, kind_name
from ..common.vocabulary.verdicts import CLEAR, HITS, TOO_CLOSE, UNKNOWN
from ..floor.unknown_ground import KnownGround
from .clearance import Meetings, Pieces, find_meetings, search_distance_m
from .model import Confidence, KindRule, Penetrations
from .touched_unknown import find_unknowns

AT_A_TIME = 2000
# A hole hits where touching is at least as likely as not.
HIT_PROBABILITY = 0.5


@dataclass(frozen=True)
class Verdict:
    """What is said of one penetration.

    Attributes
    ----------
    verdict : str
        One of `vocabulary.verdicts.VERDICTS`. What touches the unknown is 'unknown' whatever else is near; the other columns
        still tell.
    governing_item : str or None
        The item that leaves the least room; None with none near it.
    margin_m, sigma_margin_m : float or None
        Distance to its surface (largest assumed size) less the keep-out distance, and 1-sigma, metres.
    touch_probability : float
        That the hole touches any known item, with each item's confidence.
    reason : str
        One sentence.
    """

    verdict: str
    governing_item: Optional[str]
    margin_m: Optional[float]
    sigma_margin_m: Optional[float]
    touch_probability: float
    reason: str


def check_penetrations(
    holes: Penetrations,
    pieces: Pieces,
    ground: KnownGround,
    rules: Mapping[str, KindRule],
    confidence: Confidence = Confidence(),
    monitor: Monitor = Monitor(),
) -> List[Verdict]:
    """A verdict for each hole, in their order. Raises `ProcessingError` for holes without a size."""
    check_holes(holes)
    verdicts: List[Verdict] = []
    for first in range(0, len(holes), AT_A_TIME):
        monitor.step(first / len(holes))
        some = holes.subset(slice(first, first + AT_A_TIME))
        meetings = find_meetings(some, pieces, confidence)
        unknowns = find_unknowns(some, ground, rules[UNKNOWN_KIND], confidence).reasons
        looked_at = search_distance_m(pieces, confidence, some.tolerance_m)
        bounds = np.searchsorted(meetings.hole, np.arange(len(some) + 1))
        for i in range(len(some)):
            own = slice(bounds[i], bounds[i + 1])
            verdicts.append(_verdict(meetings, own, pieces, unknowns.get(i), confidence, looked_at[i]))
    monitor.step(1.0)
    return verdicts


def check_holes(holes: Penetrations) -> None:
    """Raises `ProcessingError` that names the first hole with a diameter, depth, tolerance or tilt that cannot be."""
    tests = (
        (tr("has no position"), ~np.isfinite(holes.entry_m).all(axis=1)),
        (tr("needs a diameter above zero metres"), ~((holes.diameter_m > 0) & np.isfinite(holes.diameter_m))),
        (tr("needs a depth above zero metres"), ~((holes.depth_m > 0) & np.isfinite(holes.depth_m))),
        (tr("needs a tolerance of zero or more metres"), ~((holes.tolerance_m >= 0) & np.isfinite(holes.tolerance_m))),
        (
            tr("needs a tilt of at least 0 and below 80 degrees"),
            ~((holes.tilt_rad >= 0) & (holes.tilt_rad < np.radians(80))),
        ),
        (tr("needs an azimuth in degrees"), ~np.isfinite(holes.azimuth_rad)),
    )
    for sentence, wrong in tests:
        if wrong.any():
            raise ProcessingError(
                tr(
                    "Penetration {id} {sentence}; correct it in the table.",
                    id=holes.ids[int(np.argmax(wrong))],
                    sentence=sentence,
                )
            )


def _verdict(
    meetings: Meetings, own: slice, pieces: Pieces, unknown, confidence: Confidence, search_m: float
) -> Verdict:
    slack = meetings.slack_m[own]
    if not len(slack):
        nothing = tr(
            "no item is known within {search_distance:.0f} mm of its rim",
            search_distance=1000 * search_m,
        )
        if unknown:
            return Verdict(
                UNKNOWN,
                None,
                None,
                None,
                0.0,
                tr("Unknown: {unknown}; {nothing}.", unknown=unknown[1], nothing=nothing),
            )
        return Verdict(
            CLEAR, None, None, None, 0.0, tr("Clear: {nothing}, and the ground was scanned.", nothing=nothing)
        )
    worst = own.start + int(np.argmin(slack))
    item = meetings.item[worst]
    obstacle = pieces.obstacles[item]
    likely = meetings.touch_probability[own]
    touch = float(1.0 - np.prod(1.0 - pieces.confidence[meetings.item[own]] * likely))
    distance, sigma = meetings.distance_m[worst], float(meetings.sigma_m[worst])
    keep_out = pieces.keep_out_m[item]
    margin = float(distance - keep_out)
    if likely.max() >= HIT_PROBABILITY:
        found = HITS
        hit = meetings.item[own.start + int(np.argmax(likely))]
        name = pieces.obstacles[hit]
        text = tr(
            "it hits {kind} {item_id} with a probability of {likely:.0f} per cent",
            kind=kind_name(name.kind),
            item_id=name.item_id,
            likely=100 * likely.max(),
        )
    elif meetings.slack_m[worst] < 0:
        found = TOO_CLOSE
        text = tr(
            "{kind} {item_id} is {distance:.0f} ± {sigma:.0f} mm away, which does not satisfy the keep-out distance "
            "of {keep_out:.0f} mm with {confidence:g} per cent confidence",
            kind=kind_name(obstacle.kind),
            item_id=obstacle.item_id,
            distance=1000 * distance,
            sigma=1000 * sigma,
            keep_out=1000 * keep_out,
            confidence=100 * confidence.keep_out,
        )
    elif touch > confidence.touch_limit:
        found = TOO_CLOSE
        text = tr(
            "the probability of touching any known item is {touch:.2g} per cent, more than allowed",
            touch=100 * touch,
        )
    else:
        found = CLEAR
        text = tr(
            "the nearest item, {kind} {item_id}, is {distance:.0f} ± {sigma:.0f} mm away (keep-out distance "
            "{keep_out:.0f} mm)",
            kind=kind_name(obstacle.kind),
            item_id=obstacle.item_id,
            distance=1000 * distance,
            sigma=1000 * sigma,
            keep_out=1000 * keep_out,
        )
    if unknown:
        return Verdict(
            UNKNOWN,
            obstacle.item_id,
            margin,
            sigma,
            touch,
            tr("Unknown: {unknown}; of what is known, {text}.", unknown=unknown[1], text=text),
        )
    opening = {HITS: tr("Hits"), TOO_CLOSE: tr("Too close"), CLEAR: tr("Clear")}[found]
    return Verdict(found, obstacle.item_id, margin, sigma, touch, f"{opening}: {text}.")
