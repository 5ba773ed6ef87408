"""Known depths and speeds: what a core, a drill hole or a drawing says, and the wave speed that follows from it.

```
known_depths.csv    area_id,feature,local_x_m,local_y_m,depth_m,sigma_m,speed_m_ns,sigma_m_ns
```

`feature` is `item` (the top of an item was found at `depth_m` at this place), `base` (the slab is `depth_m` thick there) or `speed`
(the wave speed itself is known). Columns that a feature does not need may be empty or missing.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Iterable, List, Optional, Sequence, Tuple

import numpy as np

from ..common.errors import SurveyError
from ..common.language import tr
from ..common.monitor import Monitor
from ..geometry.polylines import nearest_on
from ..geometry.two_leg import NOMINAL_RADIUS_M, plane_path, two_leg_path
from ..radar.model import SlabBase, WaveSpeed
from ..radar.preprocessing import PreparedArea
from ..speed.combination import SpeedEvidence, combine_with_known
from ..survey.model import Finding
from ..survey.tables import KNOWN_DEPTHS_FILE, Choice, Name, Number, read_table
from .model import Item

FEATURES = ("item", "base", "speed")
# Where the table states no sigma: a depth taped in a hole, and a speed from elsewhere (common practice, no source).
DEPTH_SIGMA_M, SPEED_SIGMA = 0.003, 0.02
NEAR_M = 0.03
# Of a measured depth beyond wave speed and time zero, at least (scatter on simulated slabs).
ITEM_SIGMA_M = 0.0015
# What pulse and antenna do to a depth beyond wave speed and time zero hits all objects of one depth alike: this share of their own
# variance is taken for common at equal depth, less where depths differ by more. On simulated full-wave surveys it is one half to
# four fifths; the smaller value claims less.
SHARE, REACH_M = 0.5, 0.040

_LOCAL = Number(-1000.0, 1000.0, tr("metres of the area's local grid"))
COLUMNS = {"area_id": Name(), "feature": Choice(FEATURES)}
OPTIONAL = {
    "local_x_m": _LOCAL,
    "local_y_m": _LOCAL,
    "depth_m": Number(0.005, 3.0, "metres"),
    "sigma_m": Number(1e-4, 1.0, "metres"),
    "speed_m_ns": Number(0.05, 0.3, "m/ns"),
    "sigma_m_ns": Number(1e-5, 0.1, "m/ns"),
}
NEEDED = {
    "item": ("local_x_m", "local_y_m", "depth_m"),
    "base": ("local_x_m", "local_y_m", "depth_m"),
    "speed": ("speed_m_ns",),
}


@dataclass(frozen=True)
class KnownDepth:
    """One row of the table; `value` is a depth (metres) or, for the feature ``speed``, a speed (m/ns), `sigma` its 1-sigma."""

    area_id: str
    feature: str
    place_m: Tuple[float, float]
    value: float
    sigma: float
    where: str


def read_known_depths(folder, area_ids: Iterable[str], findings: List[Finding], path=None) -> List[KnownDepth]:
    """The table of a survey folder, or the one at `path`; rows that cannot be used become findings.

    A missing table in the folder is none. Raises `SurveyError` if `path` is given and is no such table.
    """
    source = Path(path) if path else Path(folder) / KNOWN_DEPTHS_FILE
    if not path and not source.exists():
        return []
    try:
        rows = read_table(source, COLUMNS, findings, OPTIONAL)
    except SurveyError as error:
        if path:
            raise
        findings.append(Finding("error", source.name, tr("{error} The table is left out.", error=error)))
        return []
    known_areas = set(area_ids)
    out = []
    for row in rows:
        values = row.values
        area_id, feature = values["area_id"], values["feature"]
        missing = [name for name in NEEDED[feature] if name not in values]
        if area_id not in known_areas:
            findings.append(
                Finding(
                    "error", row.where, tr("there is no scan area {area_id}; the row is left out.", area_id=area_id)
                )
            )
        elif missing:
            text = tr(
                "the feature {feature} needs {missing}; the row is left out.",
                feature=feature,
                missing=tr(" and ").join(missing),
            )
            findings.append(Finding("error", row.where, text))
        elif feature == "speed":
            speed = values["speed_m_ns"]
            sigma = values.get("sigma_m_ns", SPEED_SIGMA * speed)
            out.append(KnownDepth(area_id, feature, (np.nan, np.nan), speed, sigma, row.where))
        else:
            place = values["local_x_m"], values["local_y_m"]
            sigma = values.get("sigma_m", DEPTH_SIGMA_M)
            out.append(KnownDepth(area_id, feature, place, values["depth_m"], sigma, row.where))
    return out


def use_known_depths(
    prepared: PreparedArea,
    speed: WaveSpeed,
    base: SlabBase,
    known: Sequence[KnownDepth],
    monitor: Monitor = Monitor(),
) -> Tuple[WaveSpeed, List[Finding]]:
    """The wave speed with the area's known depths and speeds taken in, and findings on rows that match nothing.

    Parameters
    ----------
    base : SlabBase
        As found with `speed`.
    known : sequence of KnownDepth
        Those of other areas are passed over.
    """
    own = [one for one in known if one.area_id == prepared.area.area_id]
    items: List[Item] = []
    if any(one.feature == "item" for one in own):
        from .detect import detect_items

        _, items = detect_items(prepared, speed, base, monitor=monitor)
    evidence, findings = [], []
    shared: List[Tuple[float, float, float]] = []  # depth, own 1-sigma as far as others share it, known 1-sigma
    for one in own:
        found: Optional[SpeedEvidence] = None
        measured: Optional[Tuple[float, float]] = None
        if one.feature == "speed":
            found = SpeedEvidence(tr("the stated speed of {where}", where=one.where), one.value, one.sigma, 0.0)
        else:
            measured = _base_at(base, speed, one) if one.feature == "base" else _item_at(items, speed, one)
            if measured is not None:
                found = speed_from_depth(prepared.area.antenna_separation_m, speed, one, *measured)
        if found is None:
            place = tr(
                "x {x:.3f}, y {y:.3f} of area {area_id}", x=one.place_m[0], y=one.place_m[1], area_id=one.area_id
            )
            if one.feature == "base":
                text = tr("no slab base is seen at {place}; the known depth is not used.", place=place)
            else:
                text = tr(
                    "no item is seen within {near:.0f} mm at {place}; the known depth is not used.",
                    near=1000 * NEAR_M,
                    place=place,
                )
            findings.append(Finding("warning", one.where, text))
        else:
            evidence.append(found)
            # A stated speed has no depth, a slab base no neighbours: neither shares an error with other items.
            depth, own_sigma = measured if one.feature == "item" else (0.0, 0.0)
            shared.append((depth, own_sigma, one.sigma))
    if not evidence:
        return speed, findings
    return combine_with_known(speed, evidence, correlation_of_known(*np.transpose(shared))), findings


def common_covariance(depths_m, own_m) -> np.ndarray:
    """Covariance (square metres) of the errors of several items' depths beyond wave speed and time zero, as far as it is common.

    SHARE a_i a_j exp(-(d_i - d_j)^2 / (2 REACH_M^2)), with the own 1-sigmas a (`own_m`) and the depths d, metres.
    """
    depths, own = np.asarray(depths_m, float), np.asarray(own_m, float)
    return SHARE * np.outer(own, own) * np.exp(-0.5 * (np.subtract.outer(depths, depths) / REACH_M) ** 2)


def correlation_of_known(depths_m, own_m, known_sigma_m) -> np.ndarray:
    """Correlation of what several known depths say of the wave speed: the radar's own depths share an error, what was taped none.

    All three are metres, shape (n,): the radar's depths, their own 1-sigmas (0 for what shares nothing) and the 1-sigmas of the
    known depths.
    """
    sigmas = np.maximum(np.hypot(own_m, known_sigma_m), 1e-9)
    found = common_covariance(depths_m, own_m) / np.outer(sigmas, sigmas)
    np.fill_diagonal(found, 1.0)
    return found


def speed_from_depth(
    separation_m: float, speed: WaveSpeed, known: KnownDepth, measured_m: float, measured_sigma_m: float
) -> SpeedEvidence:
    """The speed at which the echo that `speed` puts at `measured_m` lies at the known depth.

    With P(z) the path to depth z and t = P(measured)/v the time of the echo, v' = P(known)/t. An error of time zero by dt changes
    it by v'/t dt, and cannot be told from one of the speed at a single depth.
    """

    def path(depth):
        if known.feature == "base":
            return plane_path(depth, separation_m)
        return two_leg_path(0.0, depth, separation_m, "across", 0.0, NOMINAL_RADIUS_M)

    time = path(measured_m) / speed.speed_m_ns
    value = float(path(known.value) / time)
    steepness = (path(known.value + 1e-4) - path(known.value - 1e-4)) / 2e-4 / time
    sigma = float(steepness * np.hypot(known.sigma, measured_sigma_m))
    name = tr("the known depth of {value:.0f} mm ({where})", value=1000 * known.value, where=known.where)
    return SpeedEvidence(name, value, sigma, float(value / time))


def _item_at(items: Sequence[Item], speed: WaveSpeed, known: KnownDepth) -> Optional[Tuple[float, float]]:
    """Depth and its own 1-sigma, without wave speed and time zero, of the item under a place.

    Where bars of two layers cross near it, the one whose depth comes nearest to the known one.
    """
    near = []
    for item in items:
        _, (distance,), (foot,) = nearest_on(item.vertices_m, [known.place_m])
        if distance <= NEAR_M:
            near.append((abs(foot[2] - known.value), float(foot[2]), item.sigma_depth_m))
    if not near:
        return None
    _, depth, sigma = min(near)
    own = np.sqrt(max(sigma**2 - float(speed.depth_sigma_m(depth)) ** 2, ITEM_SIGMA_M**2))
    return depth, float(own)


def _base_at(base: SlabBase, speed: WaveSpeed, known: KnownDepth) -> Optional[Tuple[float, float]]:
    """Thickness and its own 1-sigma, without wave speed and time zero, at the cell nearest to a place."""
    row, column = (
        int(np.argmin(np.abs(axis - place))) for axis, place in zip((base.y_m, base.x_m), known.place_m[::-1])
    )
    nearest = np.hypot(base.x_m[column] - known.place_m[0], base.y_m[row] - known.place_m[1])
    cell = max(np.abs(np.diff(base.x_m)).max(initial=0.0), NEAR_M)
    thickness = base.thickness_m[row, column]
    if nearest > cell or not np.isfinite(thickness):
        return None
    common = float(speed.depth_sigma_m(thickness))
    own = np.sqrt(max(base.sigma_m[row, column] ** 2 - common**2, ITEM_SIGMA_M**2))
    return float(thickness), float(own)
