"""What is cast in: a cylinder along a line in space, in some frame with x, y in plan and depth down."""

from dataclasses import dataclass, replace

import numpy as np

from .cylinders import Sort


@dataclass(frozen=True)
class CastIn:
    """One bar, tendon or conduit.

    `vertices_m`, shape (n, 3), are x, y and the depth of the TOP. Two vertices mean a straight line; more must be close
    together (a few centimetres) and follow a smooth curve.
    """

    object_id: str
    kind: str
    diameter_m: float
    vertices_m: np.ndarray

    @property
    def is_metal(self) -> bool:
        return self.kind != "plastic_conduit"

    @property
    def sort(self) -> Sort:
        return Sort(self.diameter_m, self.is_metal)

    def moved(self, vertices_m) -> "CastIn":
        return replace(self, vertices_m=np.asarray(vertices_m, dtype=float))

    def nearest(self, points_m):
        """Nearest points on the axis and its unit tangents there, both of shape (point, 3).

        A straight object counts as endless here; `distances_to_ends` says where it ends.
        """
        points_m = np.asarray(points_m, dtype=float)
        axis = self.vertices_m + np.array([0.0, 0.0, self.diameter_m / 2.0])
        if len(axis) == 2:
            tangent = _unit(axis[1] - axis[0])
            along = (points_m - axis[0]) @ tangent
            return axis[0] + along[:, None] * tangent, np.broadcast_to(tangent, points_m.shape)
        tangents = _unit(np.gradient(axis, axis=0))
        squared = np.sum(points_m**2, axis=1)[:, None] - 2.0 * points_m @ axis.T + np.sum(axis**2, axis=1)
        near = np.clip(np.argmin(squared, axis=1), 1, len(axis) - 2)
        step = np.linalg.norm(axis[near + 1] - axis[near - 1], axis=1) / 2.0
        part = np.sum((points_m - axis[near]) * tangents[near], axis=1) / step
        position = np.clip(near + part, 0, len(axis) - 1.001)
        low = position.astype(int)
        weight = (position - low)[:, None]
        return (
            (1.0 - weight) * axis[low] + weight * axis[low + 1],
            _unit((1.0 - weight) * tangents[low] + weight * tangents[low + 1]),
        )

    def distances_to_ends(self, points_m):
        """How far the points lie inside the start, then inside the end, along the end pieces: two arrays of shape (point,).

        Negative beyond it.
        """
        points_m = np.asarray(points_m, dtype=float)
        for end, inner in (self.vertices_m[[0, 1]], self.vertices_m[[-1, -2]]):
            yield (points_m - end) @ _unit(inner - end)


def _unit(vectors):
    return vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)
