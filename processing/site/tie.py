"""Tying a site grid to a national one by points known in both: least-squares similarity, residuals, and what the scale says."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import List, Optional, Sequence, Tuple

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr
from ..survey.model import Finding
from ..survey.tables import Number, Text, read_table
from .control import similarity
from .crs import GridTie
from .network import Network, Node, Row
from .statistics import critical_ratio

PAIR_COLUMNS = {
    "point_id": Text(),
    "site_x_m": Number(-1e8, 1e8, "metres"),
    "site_y_m": Number(-1e8, 1e8, "metres"),
    "east_m": Number(-1e8, 1e8, "metres"),
    "north_m": Number(-1e8, 1e8, "metres"),
}
PAIR_OPTIONAL = {"sigma_m": Number(1e-5, 10.0, "metres")}
USUAL_SIGMA_M = 0.010
SIGNIFICANCE = 0.001
# A map projection and the height of a site change lengths by less than this; more is a mistake.
LARGEST_SCALE_ERROR = 0.01


@dataclass(frozen=True)
class PointPair:
    """One point in the site grid and in the national one, metres; `sigma_m` along each axis."""

    point_id: str
    site_m: Tuple[float, float]
    base_m: Tuple[float, float]
    sigma_m: float = USUAL_SIGMA_M


@dataclass(frozen=True)
class TieFit:
    """A fitted tie.

    Sigmas are those of scale and rotation (NaN where given). Residuals are fitted minus given, metres, in the national grid, shape
    (pair, 2); `standardized` is the larger of the two over its own sigma, None where nothing checks the point.
    """

    tie: GridTie
    pairs: Tuple[PointPair, ...] = ()
    residual_m: np.ndarray = field(default_factory=lambda: np.zeros((0, 2)), compare=False)
    standardized: Tuple[Optional[float], ...] = ()
    sigma_scale: float = float("nan")
    sigma_rotation_rad: float = float("nan")
    warnings: Tuple[str, ...] = ()

    @property
    def rotation_deg(self) -> float:
        """Direction of site x, degrees anticlockwise from grid east, 0 to 360."""
        return float(np.degrees(self.tie.rotation_rad) % 360.0)

    @property
    def worst_residual_m(self) -> Optional[float]:
        """Largest residual (length), metres; None without points."""
        return float(np.hypot(*self.residual_m.T).max()) if len(self.residual_m) else None


def read_pairs(path) -> Tuple[List[PointPair], List[Finding]]:
    """Point pairs from a CSV table, and what of it could not be used. Raises `SurveyError`."""
    findings: List[Finding] = []
    rows = read_table(Path(path), PAIR_COLUMNS, findings, PAIR_OPTIONAL)
    pairs = [
        PointPair(
            v["point_id"],
            (v["site_x_m"], v["site_y_m"]),
            (v["east_m"], v["north_m"]),
            v.get("sigma_m", USUAL_SIGMA_M),
        )
        for v in (row.values for row in rows)
    ]
    return pairs, findings


def fit_tie(pairs: Sequence[PointPair], scale: Optional[float] = None) -> TieFit:
    """The tie that fits two or more point pairs best; `scale` fixes its scale, None lets the points give it.

    Raises `ProcessingError` where the points give no direction, or a scale that no map projection has.
    """
    if len(pairs) < 2:
        raise ProcessingError(
            tr("Tying a site grid takes two or more points; the table has {count} that can be used.", count=len(pairs))
        )
    site, base = (np.array([getattr(pair, name) for pair in pairs], float) for name in ("site_m", "base_m"))
    sigma = np.array([pair.sigma_m for pair in pairs])
    for spread, grid in ((site, tr("site grid")), (base, tr("national grid"))):
        if np.hypot(*np.ptp(spread, axis=0)) < 1.0:
            raise ProcessingError(
                tr(
                    "The points lie within one metre of each other in the {grid} and fix no direction; choose others.",
                    grid=grid,
                )
            )
    found, rotation, _ = similarity(site, base, sigma**-2.0)
    if abs(found - 1.0) > LARGEST_SCALE_ERROR:
        raise ProcessingError(
            tr(
                "Distances between the points are {found:.4g} times as long in the national grid as on site; "
                "check units, the order of easting and northing, and that points are not mixed up.",
                found=found,
            )
        )
    given = 1.0 if scale is None else scale
    node = Node("site", base.mean(axis=0), site.mean(axis=0) * given, rotation, scale_group=None if scale else "scale")
    rows = [
        Row(number, 0, pair.sigma_m, pair.base_m[axis], d, tuple(np.multiply(pair.site_m, given)))
        for number, pair in enumerate(pairs)
        for axis, d in enumerate(((1.0, 0.0), (0.0, 1.0)))
    ]
    network = Network([node], rows)
    solution = network.solve(np.ones(len(rows), bool))
    scale = given * network.scales.get("scale", 1.0)
    turned = GridTie(0.0, 0.0, float(network.rotation[0]), scale)
    east, north = network.shift[0] - turned.to_base([network.centre[0] / given])[0]
    tie = GridTie(float(east), float(north), turned.rotation_rad, float(scale))
    ratio = np.abs(solution.standardized.reshape(-1, 2))
    standardized = tuple(None if np.isnan(both).all() else float(np.nanmax(both)) for both in ratio)
    residual = solution.residual.reshape(-1, 2)
    sigmas = np.sqrt(np.diag(solution.covariance[0]))
    return TieFit(
        tie,
        tuple(pairs),
        residual,
        standardized,
        float(sigmas[3]) if len(sigmas) > 3 else float("nan"),
        float(sigmas[2]),
        tuple(_warnings(pairs, residual, standardized)),
    )


def _warnings(pairs, residual, standardized) -> List[str]:
    if all(ratio is None for ratio in standardized):
        return [tr("Nothing checks the tie: two points are just enough to compute it; measure a third one.")]
    worst = int(np.argmax([ratio or 0.0 for ratio in standardized]))
    if (standardized[worst] or 0.0) <= critical_ratio(SIGNIFICANCE):
        return []
    return [
        tr(
            "Point {point_id} disagrees with the others by {off:.0f} mm ({standardized:.1f} sigma); check it. "
            "It was used.",
            point_id=pairs[worst].point_id,
            off=1000 * np.hypot(*residual[worst]),
            standardized=standardized[worst],
        )
    ]
