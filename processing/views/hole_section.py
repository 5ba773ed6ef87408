"""A vertical section through a penetration, as a picture: the hole, the items with what is not known of them, the unknown."""

import re
from pathlib import Path
from typing import List, Sequence, Tuple

import numpy as np

from ..common.language import tr
from ..common.packages import missing_packages
from ..common.vocabulary.kinds import kind_name
from ..common.vocabulary.verdicts import verdict_words
from ..floor.unknown_ground import KnownGround
from ..geometry.polygons import distance_inside, edges_of
from ..penetrations.check import Verdict
from ..penetrations.clearance import Pieces, search_distance_m
from ..penetrations.model import Confidence, Penetrations

CAUTION = tr(
    "Scanning does not guarantee detection; sizes are assumed, not measured (full circle: largest, dotted: "
    "smallest size).\nWhether and where to drill is decided by the responsible engineer under local codes."
)
HALF_WIDTH_M = 0.25


def picture_names(ids: Sequence[str], suffix: str = ".svg") -> List[str]:
    """A file name for each id, of letters that every file system takes, no two alike."""
    names: List[str] = []
    for one in ids:
        plain = re.sub(r"[^\w.-]+", "_", str(one)).strip("._") or "penetration"
        name, number = plain + suffix, 2
        while name.lower() in {other.lower() for other in names[-50:]} or name in names:
            name, number = f"{plain}-{number}{suffix}", number + 1
        names.append(name)
    return names


def draw_section(
    path, hole: Penetrations, verdict: Verdict, pieces: Pieces, ground: KnownGround, confidence: Confidence
) -> None:
    """Writes the picture of one hole (`hole` holds one entry) to `path`; its suffix, .svg or .png, says how.

    The section runs square to the governing item, or along the lean of an inclined hole. Raises `MissingPackageError`
    without matplotlib.
    """
    try:
        import matplotlib
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError as error:
        raise missing_packages("matplotlib") from error
    # Equal input gives an equal file: no clock, and names inside the file that do not change.
    with matplotlib.rc_context({"svg.hashsalt": "inslab", "font.size": 8, "hatch.linewidth": 0.4}):
        figure = Figure(figsize=(7.4, 3.6))
        FigureCanvasAgg(figure)
        axes = figure.add_axes([0.08, 0.27, 0.90, 0.64])
        _draw(axes, hole, verdict, pieces, ground, confidence)
        figure.text(0.08, 0.02, CAUTION, fontsize=6.5, va="bottom")
        kind = Path(path).suffix.lower().lstrip(".")
        figure.savefig(path, format=kind, dpi=200, metadata={"Date": None} if kind == "svg" else None)


def direction_of_section(hole: Penetrations, verdict: Verdict, pieces: Pieces) -> np.ndarray:
    """Unit vector in plan along the section, pointing right."""
    if hole.tilt_rad[0] > 0:
        right = hole.axis[0, :2] / np.hypot(*hole.axis[0, :2])
    else:
        ids = [one.item_id for one in pieces.obstacles]
        right = np.array([1.0, 0.0])
        if verdict.governing_item in ids:
            own = np.flatnonzero(pieces.owner == ids.index(verdict.governing_item))
            middle = (pieces.start_m[own] + pieces.end_m[own])[:, :2] / 2
            nearest = own[np.argmin(np.hypot(*(middle - hole.entry_m[0]).T))]
            way = (pieces.end_m - pieces.start_m)[nearest, :2]
            right = np.array([way[1], -way[0]]) / max(np.hypot(*way), 1e-12)
    return right if right[0] > 1e-9 or (abs(right[0]) <= 1e-9 and right[1] > 0) else -right


def crossings(hole: Penetrations, right: np.ndarray, pieces: Pieces, reach_m: float) -> List[Tuple[int, float, float]]:
    """Where items cross the plane of the section: index of the obstacle, place to the right of the hole, depth of the top."""
    across = np.array([-right[1], right[0]])
    one, other = ((end[:, :2] - hole.entry_m[0]) @ across for end in (pieces.start_m, pieces.end_m))
    found = []
    for k in np.flatnonzero((one > 0) != (other > 0)):
        place = pieces.start_m[k] + one[k] / (one[k] - other[k]) * (pieces.end_m[k] - pieces.start_m[k])
        aside = float((place[:2] - hole.entry_m[0]) @ right)
        if abs(aside) <= reach_m:
            found.append((int(pieces.owner[k]), aside, float(place[2])))
    return found


def _draw(axes, hole, verdict, pieces, ground, confidence) -> None:
    right = direction_of_section(hole, verdict, pieces)
    half = max(
        HALF_WIDTH_M, 1.5 * float(hole.diameter_m[0]), search_distance_m(pieces, confidence, hole.tolerance_m)[0] / 2
    )
    places = np.linspace(-half, half, 201)
    points = hole.entry_m[0] + places[:, None] * right
    thickness = ground.base(points)[0]
    seen = known_depth(points, ground)
    deepest = max(float(hole.reached_depth_m[0]), *(one for one in (*thickness, *seen) if np.isfinite(one)), 0.1)
    bottom = deepest + 0.04
    axes.fill_between(
        places,
        np.where(np.isfinite(seen), seen, 0.0),
        bottom,
        step="mid",
        facecolor="#e8e8e8",
        edgecolor="#8a8a8a",
        hatch="////",
        linewidth=0,
        label=tr("unknown"),
    )
    axes.plot(places, np.zeros_like(places), color="#22303f", linewidth=1.6)
    if np.isfinite(thickness).any():
        axes.plot(places, thickness, color="#22303f", linewidth=1.2, linestyle="--", label=tr("slab base"))
    _draw_items(axes, crossings(hole, right, pieces, half), pieces)
    _draw_hole(axes, hole)
    axes.set(
        xlim=(-half, half), ylim=(bottom, -0.02), aspect="equal", xlabel=tr("m beside the axis"), ylabel=tr("depth, m")
    )
    margin = (
        ""
        if verdict.margin_m is None
        else (
            tr(
                ", margin {margin:.0f} ± {sigma_margin:.0f} mm to {governing_item}",
                margin=1000 * verdict.margin_m,
                sigma_margin=1000 * verdict.sigma_margin_m,
                governing_item=verdict.governing_item,
            )
        )
    )
    axes.set_title(f"{hole.ids[0]}: {verdict_words(verdict.verdict)}{margin}", fontsize=9, parse_math=False)
    azimuth = np.degrees(np.arctan2(right[0], right[1])) % 360
    axes.text(
        0.995,
        0.01,
        tr("right = {azimuth:.0f}° from site y", azimuth=azimuth),
        transform=axes.transAxes,
        ha="right",
        fontsize=6.5,
    )
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.17), ncol=5, fontsize=6.5, frameon=False)


def known_depth(points, ground: KnownGround) -> np.ndarray:
    """Depth down to which the ground is known at each point, metres: seen both ways and not hidden; NaN where it was not seen."""
    seen = np.full(len(points), np.nan)
    for depth in ground.depths_m:  # deepest first
        inside = distance_inside(points, ground.outline(depth, 0.0)) > 0
        seen = np.where(np.isnan(seen) & inside, depth, seen)
    for strip in ground.strips:
        hidden = distance_inside(points, edges_of([strip.corners_m])) > 0
        seen = np.where(hidden, np.minimum(seen, strip.depth_m), seen)
    return seen


def _draw_items(axes, found, pieces: Pieces) -> None:
    from matplotlib.patches import Circle, Ellipse

    for number, aside, top in found:
        obstacle = pieces.obstacles[number]
        large, small = obstacle.rule.largest_diameter_m / 2, obstacle.rule.smallest_diameter_m / 2
        axes.add_patch(
            Circle(
                (aside, top + large),
                large + obstacle.rule.keep_out_m,
                fill=False,
                edgecolor="#d55e00",
                linewidth=0.7,
                linestyle="-.",
            )
        )
        axes.add_patch(Circle((aside, top + large), large, facecolor="#f2d9a8", edgecolor="#22303f", linewidth=0.9))
        axes.add_patch(
            Circle((aside, top + small), small, fill=False, edgecolor="#22303f", linewidth=0.7, linestyle=":")
        )
        spread = 2 * 1.96 * np.array([obstacle.sigma_xy_m, obstacle.sigma_depth_m])
        axes.add_patch(Ellipse((aside, top), *spread, fill=False, edgecolor="#0072b2", linewidth=0.8))
        axes.annotate(
            f"{obstacle.item_id} ({kind_name(obstacle.kind)})",
            (aside, top),
            fontsize=6,
            xytext=(3, 5),
            textcoords="offset points",
            parse_math=False,
        )
    if found:
        axes.plot([], [], color="#d55e00", linewidth=0.7, linestyle="-.", label=tr("keep-out"))
        axes.plot([], [], color="#0072b2", linewidth=0.8, label=tr("position of the top, 1.96 sigma"))


def _draw_hole(axes, hole: Penetrations) -> None:
    radius, length, tilt = float(hole.diameter_m[0]) / 2, float(hole.depth_m[0]), float(hole.tilt_rad[0])
    along = np.array([np.sin(tilt), np.cos(tilt)])
    square = np.array([np.cos(tilt), -np.sin(tilt)])
    start = -0.03 * along
    corners = np.array(
        [
            start - radius * square,
            start + radius * square,
            (length * along) + radius * square,
            (length * along) - radius * square,
        ]
    )
    axes.fill(*corners.T, facecolor=(0.34, 0.71, 0.91, 0.55), edgecolor="#0072b2", linewidth=1.0, label=tr("drilled"))
