"""From areas, control points, ties, directions and taped distances to the rows of the network."""

from dataclasses import dataclass, field
from typing import Dict, FrozenSet, List, Mapping, Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..common.vocabulary.surfaces import is_elevation, is_from_below
from ..survey.model import ControlPoint, ScanArea
from .control import sigma_of
from .first_positions import normal_of
from .frame import AreaFit
from .network import Network, Node, Row
from .observations import Observations

SAME_POINT_M = 1e-4
AXES = ((1.0, 0.0), (0.0, 1.0))
# Kinds of observations as people read them; results hold the keys.
KIND_WORDS = {
    "control point": tr("control point"),
    "site position of control point": tr("site position of control point"),
    "tie": tr("tie"),
    "tie across an item": tr("tie across an item"),
    "direction": tr("direction"),
    "taped distance": tr("taped distance"),
}


@dataclass(frozen=True)
class Group:
    """One thing observed: what it is, whose it is, and its rows and nodes in the network."""

    kind: str
    name: str
    area_ids: Tuple[str, ...]
    rows: Tuple[int, ...]
    nodes: FrozenSet[int] = field(default_factory=frozenset)


def frame_of(area: ScanArea) -> Tuple[str, ...]:
    """What an area's site coordinates belong to: the plan, or the elevation of one wall."""
    return ("wall", area.level) if is_elevation(area.surface) else ("plan",)


def build_network(
    areas: Mapping[str, ScanArea],
    started: Mapping[str, AreaFit],
    control: Mapping[str, Sequence[ControlPoint]],
    observations: Observations,
    free_scale: bool,
) -> Tuple[Network, List[Group]]:
    """The network of the areas in `started` (their rough fits), with everything that was observed of them."""
    return _Builder(areas, started, control, observations, free_scale).build()


class _Builder:
    def __init__(self, areas, started, control, observations, free_scale):
        self.areas, self.started, self.control = areas, started, control
        self.observations, self.free_scale = observations, free_scale
        self.rows: List[Row] = []
        self.groups: List[Group] = []

    def build(self) -> Tuple[Network, List[Group]]:
        centres = self._centres()
        nodes = []
        self.number: Dict[str, int] = {}
        for area_id, fit in self.started.items():
            self.number[area_id] = len(nodes)
            area = self.areas[area_id]
            scale_group = (area.extra.get("instrument") or "all instruments") if self.free_scale else None
            shift = fit.to_site([centres[area_id]])[0]
            nodes.append(Node(area_id, shift, centres[area_id], fit.rotation_rad, fit.mirrored, True, scale_group))
        self._add_control(nodes)
        self._add_ties()
        self._add_single()
        return Network(nodes, self.rows), self.groups

    def _centres(self) -> Dict[str, np.ndarray]:
        """Weighted mean of each area's observed local points: there its position and rotation hardly correlate."""
        seen: Dict[str, List] = {area_id: [] for area_id in self.started}
        for area_id in self.started:
            seen[area_id] += [(point.local_m, sigma_of(point)) for point in self.control[area_id]]
        for tie in self._ties():
            for area_id, local in zip(tie.area_ids, tie.local_m):
                seen[area_id].append((local, tie.sigma_m))
        for distance in self.observations.distances:
            if distance.area_id in seen:
                seen[distance.area_id].append((distance.local_m, distance.sigma_m))
        return {
            area_id: np.average([p for p, _ in own], axis=0, weights=[s**-2.0 for _, s in own])
            for area_id, own in seen.items()
        }

    def _ties(self):
        return [tie for tie in self.observations.ties if all(area_id in self.started for area_id in tie.area_ids)]

    def _add(self, kind: str, name: str, area_ids, rows: List[Row]) -> None:
        first = len(self.rows)
        for row in rows:
            row.group = len(self.groups)
        self.rows += rows
        nodes = frozenset(node for row in rows for node in (row.node_a, row.node_b) if node >= 0)
        self.groups.append(Group(kind, name, tuple(area_ids), tuple(range(first, len(self.rows))), nodes))

    def _add_control(self, nodes: List[Node]) -> None:
        shared = self._shared_points(nodes)
        for area_id in self.started:
            for point in self.control[area_id]:
                node = shared.get((frame_of(self.areas[area_id]), point.point_id))
                rows = []
                for axis, d in enumerate(AXES):
                    row = Row(0, self.number[area_id], sigma_of(point), point.site_m[axis], d, point.local_m)
                    if node is not None:
                        # The site coordinates are one observation, made once; each area's mark is its own.
                        row.sigma, row.target, row.node_b = point.local_sigma_m, 0.0, node
                    rows.append(row)
                self._add("control point", point.point_id, [area_id], rows)

    def _shared_points(self, nodes: List[Node]) -> Dict[Tuple, int]:
        """Nodes for points that several areas use, where the sigma of the marks is stated apart."""
        users: Dict[Tuple, List[Tuple[str, ControlPoint]]] = {}
        for area_id in self.started:
            for point in self.control[area_id]:
                users.setdefault((frame_of(self.areas[area_id]), point.point_id), []).append((area_id, point))
        shared = {}
        for key, own in users.items():
            spread = np.ptp([point.site_m for _, point in own], axis=0).max()
            if len(own) > 1 and spread < SAME_POINT_M and all(point.local_sigma_m > 0 for _, point in own):
                point = own[0][1]
                shared[key] = len(nodes)
                name = tr("point {key}", key=key[1])
                nodes.append(Node(name, np.array(point.site_m, float), np.zeros(2), turns=False))
                sigma = max(one.sigma_m for _, one in own)  # the careful one, and the same in every order of the table
                rows = [Row(0, shared[key], sigma, point.site_m[axis], d) for axis, d in enumerate(AXES)]
                self._add("site position of control point", key[1], [area_id for area_id, _ in own], rows)
        return shared

    def _add_ties(self) -> None:
        for tie in self._ties():
            a, b = (self.number[area_id] for area_id in tie.area_ids)
            one, other = tie.local_m
            if tie.direction_rad is None:
                rows = [Row(0, a, tie.sigma_m, 0.0, d, one, b, other) for d in AXES]
                self._add("tie", tie.tie_id, tie.area_ids, rows)
            else:
                row = Row(0, a, tie.sigma_m, 0.0, local_a=one, node_b=b, local_b=other, normal_rad=tie.direction_rad)
                self._add("tie across an item", tie.tie_id, tie.area_ids, [row])

    def _add_single(self) -> None:
        for known in self.observations.directions:
            if known.area_id in self.number:
                side = -1.0 if is_from_below(self.areas[known.area_id].surface) else 1.0
                row = Row(
                    0, self.number[known.area_id], known.sigma_rad, known.site_rad - side * known.local_rad, e=1.0
                )
                self._add("direction", known.direction_id, [known.area_id], [row])
        for taped in self.observations.distances:
            if taped.area_id in self.number:
                normal = normal_of(taped)
                target = float(normal @ taped.line_start_m) + taped.distance_m
                row = Row(0, self.number[taped.area_id], taped.sigma_m, target, tuple(normal), taped.local_m)
                self._add("taped distance", taped.distance_id, [taped.area_id], [row])
