"""What a record says of a place: what is there and how sure, how old that is, and where nobody has looked."""

from dataclasses import dataclass, field
from datetime import date
from typing import Dict, List, Optional, Sequence, Tuple

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.vocabulary.statuses import SUPERSEDED
from ..common.vocabulary.surfaces import is_elevation
from ..geometry import polygons, shapes
from .doubts import EDGE_SIGMAS
from .history import Book
from .schema import GEOMETRY
from .store import Row

# Items count as inside where they may reach in with 95 per cent probability.
REACH_SIGMAS = 1.96
# Around everything known of a level when no place is given, metres.
MARGIN_M = 1.0
SMALLEST_M2 = 1e-4
NEVER, ONE_WAY, NOT_DEEP = "never scanned", "scanned in one direction only", "not seen that deep"


@dataclass(frozen=True)
class Question:
    """Where, and as known when.

    Attributes
    ----------
    level, surface : str or None
        None: all of them; walls, whose coordinates are elevations, only where their level is named.
    polygon : list of rings or None
        Outer ring and holes, site grid, metres.
    line : list of (x, y) or None
        A line with `width_m` to both sides together.
    depth_m : float or None
        Depth down to which the ground must have been seen to be known; None: to whatever depth.
    known_on : str
        ISO date; empty: now.
    """

    level: Optional[str] = None
    surface: Optional[str] = None
    polygon: Optional[Sequence] = None
    line: Optional[Sequence] = None
    width_m: float = 0.2
    depth_m: Optional[float] = None
    known_on: str = ""


@dataclass
class Answer:
    """Rows of the record, with `age_years` beside them where they have a date, and what is unknown.

    `unknown` has rows with level, surface, why, seen_to_m (None where nothing was seen), area_m2 and rings under `geom`. `as_of`
    is the day to which ages count: the one asked for, or that of the record's latest change. `levels` are all of the record's,
    `planes` those (level, surface) that were asked for.
    """

    question: Question
    as_of: str = ""
    planes: List[Tuple[str, str]] = field(default_factory=list)
    items: List[Row] = field(default_factory=list)
    past: List[Row] = field(default_factory=list)
    verifications: List[Row] = field(default_factory=list)
    penetrations: List[Row] = field(default_factory=list)
    coverage: List[Row] = field(default_factory=list)
    unknown: List[Row] = field(default_factory=list)
    asked_m2: float = 0.0
    levels: List[str] = field(default_factory=list)


def ask(book: Book, question: Question, as_of: str) -> Answer:
    """Everything that the record holds inside a polygon, along a line or at a level. Raises `ProcessingError`."""
    if question.line is not None and question.width_m <= 0:
        raise ProcessingError(tr("The width along a line must be above zero metres."))
    answer = Answer(question, as_of)
    planes = {(row["level"], row["surface"]) for name in ("scan_areas", "items", "coverage") for row in book.rows(name)}
    answer.levels = sorted({level for level, _ in planes if level})
    for level, surface in sorted(plane for plane in planes if plane[0]):
        named = question.level == level
        if (question.level and not named) or (question.surface and surface != question.surface):
            continue
        if is_elevation(surface) and not named:
            continue
        answer.planes.append((level, surface))
        _ask_plane(book, answer, level, surface)
    return answer


def _ask_plane(book: Book, answer: Answer, level: str, surface: str) -> None:
    question = answer.question

    def here(name: str) -> List[Row]:
        return [row for row in book.rows(name) if (row["level"], row["surface"]) == (level, surface) and row[GEOMETRY]]

    region = _region(question, [here(name) for name in ("scan_areas", "coverage", "items")])
    if region is None:
        return
    answer.asked_m2 += region.Area()
    for row in here("items"):
        near = region.Buffer(REACH_SIGMAS * (row["sigma_xy_m"] or 0.0))
        if shapes.line_of(row[GEOMETRY]).Intersects(near):
            row = dict(row, age_years=_age(row["verified_on"] or row["last_seen_on"], answer.as_of))
            (answer.past if row["status"] == SUPERSEDED else answer.items).append(row)
    for name, found in (("verifications", answer.verifications), ("penetrations", answer.penetrations)):
        found += [row for row in here(name) if shapes.point_of(row[GEOMETRY]).Intersects(region)]
    covered = []
    for row in here("coverage"):
        ground = polygons.shrunk(row[GEOMETRY], EDGE_SIGMAS * (row["sigma_xy_m"] or 0.0)).Intersection(region)
        if not ground.IsEmpty():
            answer.coverage.append(dict(row, age_years=_age(row["scanned_on"], answer.as_of)))
            covered.append((row, ground))
    answer.unknown += _unknown(region, covered, question.depth_m, level, surface)


def _region(question: Question, rows: Sequence[Sequence[Row]]):
    if question.polygon is not None:
        return shapes.polygon_of(question.polygon).Buffer(0.0)  # mends a ring that crosses itself
    if question.line is not None:
        return shapes.line_of(question.line).Buffer(question.width_m / 2.0, polygons.QUARTER)
    points: List = []
    for row in (row for found in rows for row in found):
        points += row[GEOMETRY][0] if isinstance(row[GEOMETRY][0][0], list) else row[GEOMETRY]
    if not points:
        return None
    low, high = (
        [pick(point[axis] for point in points) + sign * MARGIN_M for axis in (0, 1)]
        for pick, sign in ((min, -1), (max, 1))
    )
    corners = [(low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1]), (low[0], low[1])]
    return shapes.polygon_of([corners])


def _unknown(region, covered, depth_m: Optional[float], level: str, surface: str) -> List[Row]:
    """What of the region does not count as known, each part once, with the reason that weighs most."""
    deep = [(row, ground) for row, ground in covered if row["depth_m"]]
    both = [(row, ground) for row, ground in deep if (row["line_directions"] or 0) >= 2]
    known = [ground for row, ground in both if depth_m is None or row["depth_m"] >= depth_m]
    parts = [(NEVER, region.Difference(polygons.union([ground for _, ground in deep])), None)]
    left = polygons.union([ground for _, ground in both])
    parts.append((ONE_WAY, polygons.union([ground for _, ground in deep]).Difference(left), None))
    if depth_m is not None:
        done = polygons.union(known)
        for depth in sorted({row["depth_m"] for row, _ in both if row["depth_m"] < depth_m}, reverse=True):
            ground = polygons.union([ground for row, ground in both if row["depth_m"] == depth]).Difference(done)
            parts.append((NOT_DEEP, ground, depth))
            done = polygons.union([done, ground])
    rows = []
    for why, geometry, seen_to in parts:
        for polygon in polygons.polygons_in(geometry):
            if polygon.Area() < SMALLEST_M2:
                continue
            row: Dict[str, object] = {"level": level, "surface": surface, "why": why, "seen_to_m": seen_to}
            rows.append({**row, "area_m2": float(polygon.Area()), GEOMETRY: shapes.as_lists(shapes.rings_of(polygon))})
    return rows


def _age(day: Optional[str], as_of: str) -> Optional[float]:
    """Years from one ISO date to another; None where either is missing or no date."""
    try:
        return round((date.fromisoformat(as_of) - date.fromisoformat(str(day))).days / 365.25, 1)
    except ValueError:
        return None
