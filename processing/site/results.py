"""What a joint adjustment says: fits of areas, each observation's residual and test, and sentences for the surveyor."""

from dataclasses import dataclass, field
from typing import Dict, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..common.vocabulary.surfaces import is_from_below
from ..survey.model import ScanArea
from .frame import FITTED, NOT_POSITIONED, AreaFit, PointFit
from .network import CHECKED_REDUNDANCY, Network, Solution
from .outliers import RIVAL_SHARE
from .rows import KIND_WORDS, Group
from .statistics import critical_ratio, detectable_shift, largest_variance_factor, variance_factor_interval


@dataclass(frozen=True)
class FitSettings:
    """How areas are fitted.

    Attributes
    ----------
    significance : float
        Probability that a good observation is taken for a wrong one, 0 to 1.
    power : float
        Probability with which an error of the stated smallest detectable size is found.
    free_scale : bool
        Adjust one scale for each instrument (column `instrument` of the table of areas; one for all without it).
    """

    significance: float = 0.001
    power: float = 0.8
    free_scale: bool = False

    def as_parameters(self) -> Dict[str, object]:
        """For a log of what was done."""
        return {"significance": self.significance, "power": self.power, "free_scale": self.free_scale}


@dataclass(frozen=True)
class ObservationFit:
    """One observation after the adjustment.

    Values have one entry a coordinate (two for a point, one otherwise), in metres (radians for a direction). `detectable` is the
    smallest error that the test finds with the stated power, NaN where nothing checks the observation.
    """

    kind: str
    name: str
    area_ids: Tuple[str, ...]
    used: bool
    residual: np.ndarray = field(compare=False)
    sigma: np.ndarray = field(compare=False)
    redundancy: np.ndarray = field(compare=False)
    standardized: np.ndarray = field(compare=False)
    detectable: np.ndarray = field(compare=False)


@dataclass(frozen=True)
class SiteFit:
    """All areas after the joint adjustment.

    `variance_factor` is the weighted sum of squared residuals over the degrees of freedom (None without any), and `interval`
    where it lies with 95 % probability if the stated sigmas are right. `scales` holds each instrument's scale and its 1-sigma.
    """

    fits: Dict[str, AreaFit]
    observations: Tuple[ObservationFit, ...] = ()
    settings: FitSettings = FitSettings()
    degrees_of_freedom: int = 0
    variance_factor: Optional[float] = None
    interval: Optional[Tuple[float, float]] = None
    scales: Mapping[str, Tuple[float, float]] = field(default_factory=dict)
    warnings: Tuple[str, ...] = ()


@dataclass
class Results:
    """Turns the solution of the network into fits of areas, observations and sentences."""

    areas: Mapping[str, ScanArea]
    network: Network
    groups: Sequence[Group]
    used: np.ndarray  # bool, shape (row,)
    solution: Solution
    settings: FitSettings

    def site_fit(self, refusals, warnings, general) -> SiteFit:
        self.observations = self._observations()
        self.by_control = {
            (found.area_ids[0], group.name): found
            for group, found in zip(self.groups, self.observations)
            if group.kind == "control point"
        }
        self.squares = np.where(self.used, (self.solution.residual / self.network.sigma) ** 2, 0.0)
        number_of = {node.name: number for number, node in enumerate(self.network.nodes) if node.turns}
        fits = {}
        for area_id, area in self.areas.items():
            points = self._points(area)
            if area_id not in number_of:
                reason = refusals[area_id]
                fits[area_id] = AreaFit(
                    area_id,
                    NOT_POSITIONED,
                    mirrored=is_from_below(area.surface),
                    points=points,
                    warnings=(*warnings[area_id], reason),
                )
            else:
                fits[area_id] = self._area_fit(area, number_of[area_id], points, warnings[area_id])
        freedom = int(self.used.sum()) - self.network.count
        factor = float(self.squares.sum() / freedom) if freedom > 0 else None
        interval = variance_factor_interval(freedom) if freedom > 0 else None
        if factor is not None and factor > interval[1]:
            general.append(
                tr(
                    "Residuals are {factor:.2f} times as large as the stated sigmas imply (all areas together, "
                    "{freedom} degrees of freedom): the sigmas in the tables are too small, or something is wrong; "
                    "stated uncertainties are enlarged where this shows.",
                    factor=np.sqrt(factor),
                    freedom=freedom,
                )
            )
        general += self._sentences()
        return SiteFit(
            fits,
            tuple(self.observations),
            self.settings,
            max(freedom, 0),
            factor,
            interval,
            self._scales(),
            tuple(general),
        )

    def _observations(self) -> List[ObservationFit]:
        delta = detectable_shift(self.settings.significance, self.settings.power)
        out = []
        for group in self.groups:
            rows = list(group.rows)
            sigma, share = self.network.sigma[rows], self.solution.redundancy[rows]
            checked = share > CHECKED_REDUNDANCY
            detectable = np.where(checked, delta * sigma / np.sqrt(np.where(checked, share, 1.0)), np.nan)
            out.append(
                ObservationFit(
                    group.kind,
                    group.name,
                    group.area_ids,
                    bool(self.used[rows].all()),
                    self.solution.residual[rows],
                    sigma,
                    share,
                    self.solution.standardized[rows],
                    detectable,
                )
            )
        return out

    def _points(self, area: ScanArea) -> Tuple[PointFit, ...]:
        points = []
        for point in area.control_points:
            found = self.by_control.get((area.area_id, point.point_id))
            if found is None:
                points.append(PointFit(point.point_id, False))
                continue
            ratio = np.abs(found.standardized)
            worst = None if np.isnan(ratio).all() else float(np.nanmax(ratio))
            points.append(
                PointFit(point.point_id, found.used, found.residual, found.redundancy, worst, found.detectable)
            )
        return tuple(points)

    def _area_fit(self, area: ScanArea, number: int, points, warnings) -> AreaFit:
        network = self.network
        own = (network.a == number) | (network.b == number)
        freedom = float(self.solution.redundancy[own].sum())
        variance_factor = float(self.squares[own].sum() / freedom) if freedom > 1e-6 else None
        covariance = self.solution.covariance[number] * self._enlargement(number, own, variance_factor)
        scale = network.scales[network.nodes[number].scale_group] if network.nodes[number].scale_group else 1.0
        centre, covariance = _best_known(network.rotation[number], scale, network.handed[number], covariance)
        turn = AreaFit(
            area.area_id, FITTED, network.rotation[number], np.zeros(2), is_from_below(area.surface), scale=scale
        )
        return AreaFit(
            area.area_id,
            FITTED,
            float(np.angle(np.exp(1j * network.rotation[number]))),
            network.shift[number] - turn.to_site([network.centre[number]])[0],
            turn.mirrored,
            network.centre[number] + centre,
            covariance,
            None if variance_factor is None else float(np.sqrt(variance_factor)),
            round(freedom, 6),
            points,
            tuple(warnings + self._area_sentences(area, points)),
            scale,
        )

    def _enlargement(self, number: int, own, variance_factor) -> float:
        """Factor on the covariance: 1, unless residuals are significantly larger than the stated sigmas allow."""
        part = self.solution.component[number]
        rows = self.used & (self.solution.component[self.network.a] == part)
        freedom = int(rows.sum()) - int(self.solution.unknown_count[part])
        factor = 1.0
        if freedom > 0:
            of_part = self.squares[rows].sum() / freedom
            if of_part > largest_variance_factor(freedom):
                factor = of_part
        unresolved = np.abs(self.solution.standardized[own & self.used]) > critical_ratio(self.settings.significance)
        return max(factor, variance_factor) if unresolved.any() else factor

    def _area_sentences(self, area: ScanArea, points: Sequence[PointFit]) -> List[str]:
        out = []
        for point in points:
            if point.residual_m is not None and not point.used:
                out.append(
                    tr(
                        "Area {area_id}: control point {point_id} is left out, because it lies "
                        "{residual_length:.0f} mm ({standardized:.1f} sigma) from where the others put it; "
                        "measure it again.",
                        area_id=area.area_id,
                        point_id=point.point_id,
                        residual_length=1000 * point.residual_length_m,
                        standardized=point.standardized,
                    )
                )
        used = [point for point in points if point.used and point.standardized is not None]
        worst = max(used, key=lambda point: point.standardized, default=None)
        if worst is not None and worst.standardized > critical_ratio(self.settings.significance):
            rivals = [p.point_id for p in used if p.standardized > RIVAL_SHARE * worst.standardized]
            which = (
                tr("control points {rivals} disagree", rivals=tr(" and ").join(rivals))
                if len(rivals) > 1
                else (tr("control point {point_id} disagrees with the others", point_id=worst.point_id))
            )
            if len(used) == 2:
                which = tr(
                    "its two control points {one} and {other} disagree",
                    one=used[0].point_id,
                    other=used[1].point_id,
                )
            out.append(
                tr(
                    "Area {area_id}: {which} by {residual_length:.0f} mm, {standardized:.1f} sigma, and it is not "
                    "clear which is wrong; measure again. The area is placed with a larger uncertainty.",
                    area_id=area.area_id,
                    which=which,
                    residual_length=1000 * worst.residual_length_m,
                    standardized=worst.standardized,
                )
            )
        return out

    def _sentences(self) -> List[str]:
        """On ties, directions and taped distances that disagree."""
        critical = critical_ratio(self.settings.significance)
        out = []
        for found in self.observations:
            if found.kind == "control point":
                continue
            ratio = float(np.nanmax(np.append(np.abs(found.standardized), 0.0)))
            where = tr(" and ").join(found.area_ids)
            size = np.hypot(*found.residual) if len(found.residual) == 2 else abs(found.residual[0])
            by = (
                tr("{size:.2f} degrees", size=np.degrees(size))
                if found.kind == "direction"
                else f"{1000 * size:.0f} mm"
            )
            if not found.used:
                out.append(
                    tr(
                        "The {kind} {name} ({where}) is left out, because it differs by {by} ({ratio:.1f} sigma) "
                        "from what the others say; check it.",
                        kind=KIND_WORDS[found.kind],
                        name=found.name,
                        where=where,
                        by=by,
                        ratio=ratio,
                    )
                )
            elif ratio > critical:
                out.append(
                    tr(
                        "The {kind} {name} ({where}) differs by {by} ({ratio:.1f} sigma) from the others, and it is "
                        "not clear which is wrong; check it. The uncertainty is enlarged.",
                        kind=KIND_WORDS[found.kind],
                        name=found.name,
                        where=where,
                        by=by,
                        ratio=ratio,
                    )
                )
        return out

    def _scales(self) -> Dict[str, Tuple[float, float]]:
        out = {}
        for number, node in enumerate(self.network.nodes):
            if node.scale_group is not None:
                sigma = float(np.sqrt(self.solution.covariance[number][-1, -1]))
                out[node.scale_group] = (self.network.scales[node.scale_group], sigma)
        return out


def _best_known(rotation: float, scale: float, handed: float, covariance: np.ndarray):
    """Local offset, metres, from the point that `covariance` holds for to the one whose position is known best, and the
    covariance there: where position and rotation do not correlate, the pooled variance of position is smallest.
    """
    arm = np.array([-covariance[1, 2], covariance[0, 2]]) / covariance[2, 2]
    move = np.eye(len(covariance))
    move[:2, 2] = -arm[1], arm[0]
    if len(covariance) == 4:
        move[:2, 3] = arm / scale
    cos, sin = np.cos(rotation), np.sin(rotation)
    offset = np.array([cos * arm[0] + sin * arm[1], handed * (cos * arm[1] - sin * arm[0])]) / scale
    return offset, move @ covariance @ move.T
