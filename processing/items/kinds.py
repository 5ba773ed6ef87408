"""What an item is: evidence for and against each kind, as log-odds that add up, and the reasons in words.

The weights are judgement, not physics: an item in a row of parallel, evenly spaced ones at its depth is most likely a bar; one
that changes depth along its way while its neighbours do not, a tendon; one that runs its own way, a conduit; one whose echo with
dipoles along the line has the polarity of an air-filled void, a plastic conduit (metal reflects with the opposite sign; a thin
low-permittivity cylinder answers best to dipoles across it: Radzevicius and Daniels 2000, J. Appl. Geophys. 45, 111-125).
"""

from dataclasses import dataclass
from typing import Dict, Tuple

import numpy as np

from ..common.language import tr
from ..common.vocabulary.kinds import BAR, KINDS, METAL_CONDUIT, PLASTIC_CONDUIT, TENDON, UNKNOWN_KIND, kind_name
from ..geometry.mat import FEWEST_BARS, OFF_MAT_DEG


@dataclass(frozen=True)
class Evidence:
    """What was observed of one item.

    Attributes
    ----------
    row_count : int
        Parallel items at its depth, itself included.
    off_mat_deg : float
        Angle to the nearest direction in which three or more items run; NaN where there is no such direction.
    slope, sag_m : float
        Change of depth per metre beyond that of its row, and the sag of its depth over its length.
    row_slope : float
        Change of depth per metre that its row has in common, beyond that of parallel items at other depths.
    void_phase : bool
        The echo with dipoles along the line has the sign of a void and is no weaker than the other.
    strength : float
        Stack statistic over the acceptance threshold.
    pass_count : int
        Passes that saw it.
    """

    row_count: int
    off_mat_deg: float
    slope: float
    row_slope: float
    sag_m: float
    void_phase: bool
    strength: float
    pass_count: int


DRAPED_SLOPE, DRAPED_ROW_SLOPE, DRAPED_SAG_M = 0.012, 0.007, 0.006
# In a row of flat bars one that changes depth is more likely a bent bar: it must do so by more.
DRAPED_IN_ROW = 2.0
# Of each kind that is told by its echoes, before anything is observed; other kinds of the table get no share.
FIRST_SCORES = {BAR: 0.0, TENDON: -1.0, METAL_CONDUIT: 0.0, PLASTIC_CONDUIT: -1.0, UNKNOWN_KIND: -1.0}


def judge(evidence: Evidence) -> Tuple[Dict[str, float], str]:
    """Probabilities of all kinds, and one sentence of reasons."""
    score = dict(FIRST_SCORES)
    reasons = []
    if evidence.pass_count < 2:
        score[UNKNOWN_KIND] += 6.0
        reasons.append(tr("seen on one line"))
    if evidence.void_phase:
        score[PLASTIC_CONDUIT] += 4.5
        reasons.append(tr("its echo has the polarity of an air-filled void"))
    else:
        score[PLASTIC_CONDUIT] -= 1.5
        reasons.append(tr("its echo has the polarity of metal"))
    by = DRAPED_IN_ROW if evidence.row_count >= FEWEST_BARS else 1.0
    together = abs(evidence.row_slope) > DRAPED_ROW_SLOPE
    draped = together or abs(evidence.slope) > by * DRAPED_SLOPE or abs(evidence.sag_m) > by * DRAPED_SAG_M
    if draped:
        score[TENDON] += 4.0 + (3.0 if together else 0.0)
        score[BAR] -= 1.5
        change = abs(evidence.slope + evidence.row_slope)
        reasons.append(
            tr(
                "its depth changes by {change:.0f} mm per metre (sag {sag:.0f} mm)",
                change=1000 * change,
                sag=1000 * evidence.sag_m,
            )
        )
    else:
        score[TENDON] -= 1.0
    if evidence.row_count >= FEWEST_BARS:
        score[BAR] += 3.0
        score[METAL_CONDUIT] -= 2.0
        reasons.append(tr("it lies in a row of {row_count} parallel items at its depth", row_count=evidence.row_count))
    elif evidence.row_count == 2:
        score[BAR] += 0.5
        reasons.append(tr("one parallel item lies at its depth"))
    else:
        score[METAL_CONDUIT] += 1.0
        score[BAR] -= 0.5
        reasons.append(tr("nothing parallel lies at its depth"))
    if np.isfinite(evidence.off_mat_deg):
        if evidence.off_mat_deg > OFF_MAT_DEG:
            score[METAL_CONDUIT] += 2.0
            score[BAR] -= 2.0
            reasons.append(
                tr("it runs at {off_mat_deg:.0f} degrees to the nearest mat", off_mat_deg=evidence.off_mat_deg)
            )
        else:
            score[BAR] += 0.5
            reasons.append(tr("it runs along a mat"))
    else:
        score[UNKNOWN_KIND] += 1.0
        reasons.append(tr("no mat was found to compare it with"))
    if evidence.strength < 1.1:
        score[UNKNOWN_KIND] += 1.0
        reasons.append(tr("its echo is weak"))
    values = np.array(list(score.values()))
    share = np.exp(values - values.max())
    share /= share.sum()
    best = list(score)[int(np.argmax(share))]
    name = kind_name(best)
    sentence = f"{name[:1].upper()}{name[1:]}: " + "; ".join(reasons) + "."
    return {**dict.fromkeys(KINDS, 0.0), **dict(zip(score, share.round(4).tolist()))}, sentence
