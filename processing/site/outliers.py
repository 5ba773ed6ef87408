"""Finding observations that disagree with all the others, one at a time (Baarda's data snooping)."""

from typing import List, Sequence, Set, Tuple

import numpy as np

from .network import Network, Solution
from .rows import Group

# A second observation whose standardized residual is this close to the largest could be the wrong one just as well.
RIVAL_SHARE = 0.95


def leave_out_outliers(
    network: Network, groups: Sequence[Group], solution: Solution, critical: float
) -> Tuple[np.ndarray, Solution]:
    """Which rows stay in (bool, shape (row,)), and the solution with them.

    The group with the largest standardized residual above `critical` goes first (in one round also others that share no area
    with it), unless a second one could be the wrong one just as well or an area would lose its place. One that fits again
    after a worse one is out comes back.
    """
    used = np.ones(len(network.a), bool)
    settled: Set[int] = set()  # groups that are not tried again: undecidable ones, and those taken in again
    left_out: List[int] = []
    while True:
        ratio = _group_ratios(network, solution, used, len(groups))
        now = _decide(groups, ratio, critical, settled)
        if now:
            trial = used & ~np.isin(network.group, now)
            found = network.solve_again(trial, np.flatnonzero(used & ~trial), solution)
            if found.undetermined:
                settled |= {number for number in now if found.undetermined in groups[number].area_ids} or set(now)
            else:
                used, solution = trial, found
                left_out += now
            continue
        missed = _group_ratios(network, solution, ~used, len(groups))
        back = [number for number in left_out if number not in settled and missed[number] <= critical]
        if not back:
            return used, solution if used.all() else network.solve(used)
        settled |= set(back)
        rows = np.isin(network.group, back)
        used = used | rows
        left_out = [number for number in left_out if number not in back]
        solution = network.solve_again(used, np.flatnonzero(rows), solution)


def _decide(groups: Sequence[Group], ratio: np.ndarray, critical: float, settled: Set[int]) -> List[int]:
    """Groups to leave out in this round; those of which nothing says which is wrong are added to `settled`."""
    by_node = {}
    for number, group in enumerate(groups):
        for node in group.nodes:
            by_node.setdefault(node, []).append(number)
    now: List[int] = []
    touched: Set[int] = set()
    for number in np.argsort(-ratio, kind="stable"):
        if ratio[number] <= critical:
            break
        nodes = groups[number].nodes
        if number in settled or touched & nodes:
            continue  # one beside a worse one is decided anew once that is out
        touched |= nodes
        beside = {other for node in nodes for other in by_node[node]} - {number}
        rivals = {other for other in beside if ratio[other] > RIVAL_SHARE * ratio[number]}
        if rivals:
            settled |= {int(number), *rivals}
        else:
            now.append(int(number))
    return now


def _group_ratios(network: Network, solution: Solution, rows: np.ndarray, count: int) -> np.ndarray:
    """Largest standardized residual of each group over the given rows."""
    ratio = np.zeros(count)
    np.maximum.at(ratio, network.group[rows], np.nan_to_num(np.abs(solution.standardized[rows])))
    return ratio
