"""Sparse least squares of a floor: many small rigid grids, tied to the site and to each other, adjusted in one go.

A node is a grid (shift and rotation unknown, perhaps with the scale of its instrument) or a point (shift only). A row is one
scalar observation,

    d . T_a(l_a) - d . T_b(l_b) + e rotation_a = target,    T(l) = s + k R(rotation) M (l - c),

with a unit vector d in the site grid, M = diag(1, -1) for a grid that is seen from below, and the second part only in a tie.
That covers coordinates of control points, ties, offsets across a common line, taped distances and known directions.
Gauss-Newton with normal equations; redundancy numbers, standardized residuals and the covariance of unknowns as in Ghilani and
Wolf, Adjustment Computations.
"""

from dataclasses import dataclass, field
from typing import List, Optional, Sequence

import numpy as np

LARGEST_STEP = 1e-10
TINY = 1e-14
CHECKED_REDUNDANCY = 1e-6  # below this nothing checks an observation
ITERATIONS = 25
UNKNOWNS_AT_ONCE = 600  # columns of the inverse in memory at one time


@dataclass
class Node:
    """One unknown grid or point with its present values; `centre_m` is the local point that `shift_m` places.

    `scale_group` names the instrument whose scale it shares, None for a scale of 1. `turns` is False for a point.
    """

    name: str
    shift_m: np.ndarray
    centre_m: np.ndarray
    rotation_rad: float = 0.0
    mirrored: bool = False
    turns: bool = True
    scale_group: Optional[str] = None


@dataclass
class Row:
    """One scalar observation; `group` is the number of the thing observed (both coordinates of a point share it).

    `normal_rad` replaces `d` where it is the normal of a line that node a carries: its direction in a's local grid.
    """

    group: int
    node_a: int
    sigma: float
    target: float = 0.0
    d: Sequence[float] = (0.0, 0.0)
    local_a: Sequence[float] = (0.0, 0.0)
    node_b: int = -1
    local_b: Sequence[float] = (0.0, 0.0)
    e: float = 0.0
    normal_rad: float = np.nan


@dataclass
class Solution:
    """What one adjustment gives, row by row and node by node.

    Attributes
    ----------
    residual, spread, redundancy, standardized : ndarray, shape (row,)
        Adjusted minus observed; variance of the adjusted value; share of an error that shows in the residual; residual over
        its own 1-sigma (NaN where no other observation checks this one). For rows that were left out: against what the others
        predict, redundancy 0.
    covariance : list of ndarray
        Of each node's shift, rotation and scale (as far as it has them), from the stated sigmas.
    component : ndarray, shape (node,)
        Number of the connected part of the network that each node belongs to.
    unknown_count : ndarray, shape (component,)
        Unknowns of each part.
    undetermined : str
        Name of a node that the observations do not fix; '' in a sound network. Then nothing else is valid.
    """

    residual: np.ndarray = field(default_factory=lambda: np.zeros(0))
    spread: np.ndarray = field(default_factory=lambda: np.zeros(0))
    redundancy: np.ndarray = field(default_factory=lambda: np.zeros(0))
    standardized: np.ndarray = field(default_factory=lambda: np.zeros(0))
    covariance: List[np.ndarray] = field(default_factory=list)
    component: np.ndarray = field(default_factory=lambda: np.zeros(0, int))
    unknown_count: np.ndarray = field(default_factory=lambda: np.zeros(0, int))
    undetermined: str = ""


class Network:
    """Nodes and rows; `solve` adjusts them from the nodes' present values and leaves the adjusted ones there."""

    def __init__(self, nodes: List[Node], rows: List[Row]):
        self.nodes = nodes
        self.a = np.array([row.node_a for row in rows], int)
        self.b = np.array([row.node_b for row in rows], int)
        self.local_a = np.array([row.local_a for row in rows], float).reshape(-1, 2)
        self.local_b = np.array([row.local_b for row in rows], float).reshape(-1, 2)
        self.d = np.array([row.d for row in rows], float).reshape(-1, 2)
        self.e = np.array([row.e for row in rows], float)
        self.normal = np.array([row.normal_rad for row in rows], float)
        self.target = np.array([row.target for row in rows], float)
        self.sigma = np.array([row.sigma for row in rows], float)
        self.group = np.array([row.group for row in rows], int)
        self.scales = {node.scale_group: 1.0 for node in nodes if node.scale_group is not None}
        self.handed = np.array([-1.0 if node.mirrored else 1.0 for node in nodes])
        self.centre = np.array([node.centre_m for node in nodes], float).reshape(-1, 2)
        self.shift = np.array([node.shift_m for node in nodes], float).reshape(-1, 2)
        self.rotation = np.array([node.rotation_rad for node in nodes], float)
        self._number_unknowns()

    def _number_unknowns(self) -> None:
        count = 0
        self.first = np.zeros(len(self.nodes), int)
        self.scale_column = np.full(len(self.nodes), -1)
        for number, node in enumerate(self.nodes):
            self.first[number] = count
            count += 3 if node.turns else 2
        columns = {group: count + number for number, group in enumerate(self.scales)}
        for number, node in enumerate(self.nodes):
            if node.scale_group is not None:
                self.scale_column[number] = columns[node.scale_group]
        self.turns = np.array([node.turns for node in self.nodes], bool)
        self.count = count + len(columns)
        self._scale_columns = columns

    def _scale_of(self) -> np.ndarray:
        return np.array([1.0 if node.scale_group is None else self.scales[node.scale_group] for node in self.nodes])

    def _arms(self, node, local):
        """R M (l - c) of each row, shape (row, 2)."""
        x, y = (local - self.centre[node]).T
        y = y * self.handed[node]
        cos, sin = np.cos(self.rotation[node]), np.sin(self.rotation[node])
        return np.column_stack([cos * x - sin * y, sin * x + cos * y])

    def _linearise(self):
        """Misclosure (present value minus observed) and Jacobian of all rows."""
        from scipy.sparse import csr_matrix

        d = self.d.copy()
        across = np.isfinite(self.normal)
        if across.any():
            node = self.a[across]
            angle = self.rotation[node] + self.handed[node] * self.normal[across]
            d[across] = np.column_stack([-np.sin(angle), np.cos(angle)])
        scale = self._scale_of()
        value = self.e * self.rotation[self.a]
        entries = []
        rows = np.arange(len(self.a))
        for sign, node, local, used in (
            (1.0, self.a, self.local_a, rows),
            (-1.0, self.b, self.local_b, rows[self.b >= 0]),
        ):
            n, w = node[used], sign * d[used]
            arm = self._arms(n, local[used])
            value[used] += np.sum(w * (self.shift[n] + scale[n, None] * arm), axis=1)
            entries += [(used, self.first[n], w[:, 0]), (used, self.first[n] + 1, w[:, 1])]
            turning = scale[n] * (w[:, 1] * arm[:, 0] - w[:, 0] * arm[:, 1])
            if sign > 0:
                turning = turning + self.e[used]
            has = self.turns[n]
            entries.append((used[has], self.first[n][has] + 2, turning[has]))
            has = self.scale_column[n] >= 0
            entries.append((used[has], self.scale_column[n][has], np.sum(w * arm, axis=1)[has]))
        row, column, number = (np.concatenate(part) for part in zip(*entries))
        misclosure = value - self.target
        angles = self.e != 0
        misclosure[angles] = (misclosure[angles] + np.pi) % (2 * np.pi) - np.pi
        return misclosure, csr_matrix((number, (row, column)), shape=(len(self.a), self.count))

    def solve(self, used: np.ndarray) -> Solution:
        """Adjusts with the rows where `used` (bool, shape (row,)) is True."""
        undetermined = self._iterate(used)
        if undetermined:
            return Solution(undetermined=undetermined)
        misclosure, jacobian = self._linearise()
        return self._statistics(used, misclosure, *self._inverse_parts(jacobian))

    def solve_again(self, used: np.ndarray, changed: np.ndarray, before: Solution) -> Solution:
        """As `solve`, after the rows `changed` (indices) all left `used` or all came back: `before` is updated, not made anew.

        With Z = N'⁻¹ A_r' for these rows, the inverse grows by Z (S + A_r Z)⁻¹ Z' when they leave, and shrinks by
        Z (S - A_r Z)⁻¹ Z' when they come; S holds their variances (Woodbury). Exact but for the second-order change of the
        coefficients.
        """
        undetermined = self._iterate(used)
        if undetermined:
            return Solution(undetermined=undetermined)
        misclosure, jacobian = self._linearise()
        sign = -1.0 if used[changed].all() else 1.0
        rows = jacobian[changed]
        reach = self._factor.solve(rows.T.toarray() / self._size[:, None]) / self._size[:, None]
        middle = sign * np.linalg.inv(np.diag(self.sigma[changed] ** 2) + sign * (rows @ reach))
        seen = jacobian @ reach
        spread = before.spread + np.sum((seen @ middle) * seen, axis=1)
        covariance = [
            block + reach[columns] @ middle @ reach[columns].T
            for block, columns in zip(before.covariance, map(self._columns_of, range(len(self.nodes))))
        ]
        return self._statistics(used, misclosure, spread, covariance)

    def _iterate(self, used: np.ndarray) -> str:
        """Gauss-Newton; keeps the factored normal matrix. Returns the name of a node that is not determined, or ''."""
        from scipy.sparse import diags, identity
        from scipy.sparse.linalg import splu

        weight = diags(np.where(used, self.sigma**-2.0, 0.0))
        for _ in range(ITERATIONS):
            misclosure, jacobian = self._linearise()
            normal = (jacobian.T @ weight @ jacobian).tocsc()
            self._size = size = np.sqrt(normal.diagonal())
            if np.any(size == 0):
                return self._node_of(int(np.argmin(size)))
            # Scaled to a unit diagonal, metres and radians compare; the tiny addition keeps a singular matrix factorable.
            balance = diags(1.0 / size)
            self._factor = splu(
                (balance @ normal @ balance + TINY * identity(self.count)).tocsc(),
                permc_spec="MMD_AT_PLUS_A",
                diag_pivot_thresh=0.0,
                options={"SymmetricMode": True},
            )
            probe = self._factor.solve(np.random.default_rng(0).normal(size=self.count))
            if not np.abs(probe).max() < 1e-3 / TINY:
                return self._node_of(int(np.argmax(np.abs(probe))))
            step = -self._factor.solve((jacobian.T @ (weight @ misclosure)) / size) / size
            self._apply(step)
            if np.abs(step).max() < LARGEST_STEP:
                break
        return ""

    def _apply(self, step) -> None:
        self.shift += np.column_stack([step[self.first], step[self.first + 1]])
        turning = np.flatnonzero(self.turns)
        self.rotation[turning] += step[self.first[turning] + 2]
        for group, column in self._scale_columns.items():
            self.scales[group] += step[column]

    def _node_of(self, column: int) -> str:
        """Name of the node, or of one of the nodes, that an unknown belongs to."""
        sharing = np.flatnonzero(self.scale_column == column)
        return self.nodes[
            int(sharing[0]) if len(sharing) else int(np.searchsorted(self.first, column, "right")) - 1
        ].name

    def _columns_of(self, number: int) -> np.ndarray:
        columns = list(range(self.first[number], self.first[number] + (3 if self.turns[number] else 2)))
        return np.array(columns + ([self.scale_column[number]] if self.scale_column[number] >= 0 else []))

    def _inverse_parts(self, jacobian):
        """Variance of each row's adjusted value and each node's covariance: parts of the inverse of the normal matrix, made a
        few hundred columns at a time.
        """
        wanted = [self._columns_of(number) for number in range(len(self.nodes))]
        covariance = [np.zeros((len(columns), len(columns))) for columns in wanted]
        spread = np.zeros(len(self.a))
        entries = jacobian.tocoo()
        for low in range(0, self.count, UNKNOWNS_AT_ONCE):
            high = min(low + UNKNOWNS_AT_ONCE, self.count)
            unit = np.zeros((self.count, high - low))
            unit[np.arange(low, high), np.arange(high - low)] = 1.0 / self._size[low:high]
            inverse = self._factor.solve(unit) / self._size[:, None]
            there = (entries.col >= low) & (entries.col < high)
            product = jacobian @ inverse
            values = entries.data[there] * product[entries.row[there], entries.col[there] - low]
            spread += np.bincount(entries.row[there], values, len(self.a))
            for block, columns in zip(covariance, wanted):
                own = (columns >= low) & (columns < high)
                if own.any():
                    block[:, own] = inverse[np.ix_(columns, columns[own] - low)]
        return spread, covariance

    def _statistics(self, used, misclosure, spread, covariance) -> Solution:
        redundancy = np.where(used, np.clip(1.0 - spread / self.sigma**2, 0.0, 1.0), 0.0)
        variance = np.where(used, self.sigma**2 * redundancy, self.sigma**2 + spread)
        checked = ~used | (redundancy > CHECKED_REDUNDANCY)
        standardized = np.full(len(self.a), np.nan)
        standardized[checked] = misclosure[checked] / np.sqrt(variance[checked])
        component, unknowns = self._components(used)
        return Solution(misclosure, spread, redundancy, standardized, covariance, component, unknowns)

    def _components(self, used):
        """Number of each node's connected part, and the count of unknowns in each part."""
        from scipy.sparse import coo_matrix
        from scipy.sparse.csgraph import connected_components

        count = len(self.nodes)
        groups = {group: count + number for number, group in enumerate(self.scales)}
        tied = used & (self.b >= 0)
        sharing = [n for n, node in enumerate(self.nodes) if node.scale_group is not None]
        one = np.concatenate([self.a[tied], np.array(sharing, int)])
        other = np.concatenate([self.b[tied], np.array([groups[self.nodes[n].scale_group] for n in sharing], int)])
        size = count + len(groups)
        graph = coo_matrix((np.ones(len(one)), (one, other)), shape=(size, size))
        parts, label = connected_components(graph, directed=False)
        unknowns = np.concatenate([np.where(self.turns, 3, 2), np.ones(len(groups), int)])
        return label[:count], np.bincount(label, unknowns, parts).astype(int)
