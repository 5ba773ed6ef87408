"""Mats of each plane as a table of survey.gpkg and as a part of the report."""

from dataclasses import dataclass
from typing import Iterable, List

from ..items.mats import Mat, find_mats
from ..language import tr
from .geopackage import Layer
from .placing import plane_of
from .report_page import millimetres, table
from .result import ChainResult
from .words import word

TEXT = tr(
    "Families of at least three parallel bars. Spacing is measured between the bars' lines every 50 mm along "
    "the mat, a lap counting as one bar. Cover is the depth from the scanned surface to the top of the bars, "
    "every 50 mm along each: mean, least, and what 5 % of the bars' length falls below. Bars that were not "
    "found are missing here too."
)
NUMBERS = (
    *("direction_deg", "spacing_mean_m", "spacing_min_m", "spacing_max_m", "sigma_spacing_m"),
    *("cover_mean_m", "cover_min_m", "cover_q05_m", "sigma_cover_m", "length_m"),
)


@dataclass(frozen=True)
class PlaneMat:
    """A mat, its id, and the plane it lies in."""

    mat_id: str
    level: str
    surface: str
    mat: Mat


def find_all_mats(result: ChainResult) -> List[PlaneMat]:
    """The mats among the placed items of each plane, numbered through."""
    by_plane = {}
    for item in result.items:
        area = result.areas[item.area_ids[0]]
        if result.fits[area.area_id].is_fitted:
            by_plane.setdefault(plane_of(area), []).append(item)
    found = [(plane, mat) for plane in sorted(by_plane) for mat in find_mats(by_plane[plane])]
    return [PlaneMat(f"M{number}", *plane, mat) for number, (plane, mat) in enumerate(found, 1)]


def mat_layer(mats: Iterable[PlaneMat]) -> Layer:
    """`mats`, one row a family of bars."""
    fields = {
        **dict.fromkeys(("mat_id", "level", "surface", "area_ids"), str),
        "bar_count": int,
        **dict.fromkeys(NUMBERS, float),
        "item_ids": str,
    }
    rows = []
    for one in mats:
        values = {name: getattr(one.mat, name) for name in NUMBERS}
        values.update(mat_id=one.mat_id, level=one.level, surface=one.surface, bar_count=len(one.mat.item_ids))
        values.update(area_ids=",".join(one.mat.area_ids), item_ids=",".join(one.mat.item_ids))
        rows.append((None, values))
    return Layer("mats", None, fields, rows, TEXT)


def mat_section(mats: Iterable[PlaneMat]) -> str:
    """The report's part on mats; empty without any."""
    rows = []
    for one in mats:
        mat = one.mat
        spacing = tr("not known")
        if mat.spacing_mean_m == mat.spacing_mean_m:
            spacing = tr(
                "{mean} ({least} to {most})",
                mean=_whole(mat.spacing_mean_m),
                least=_whole(mat.spacing_min_m),
                most=_whole(mat.spacing_max_m),
            )
        rows.append(
            (
                one.mat_id,
                one.level if one.surface == "top" else f"{one.level} {word(one.surface)}",
                ", ".join(mat.area_ids),
                len(mat.item_ids),
                f"{mat.direction_deg:.1f}",
                spacing,
                millimetres(mat.cover_mean_m),
                millimetres(mat.cover_min_m),
                millimetres(mat.cover_q05_m),
                millimetres(mat.sigma_cover_m),
            )
        )
    if not rows:
        return ""
    heads = (
        *(
            tr("Mat"),
            tr("Level"),
            tr("Areas"),
            tr("#Bars"),
            tr("#Direction °"),
            tr("#Spacing mm: mean (least to largest)"),
        ),
        *(tr("#Cover mm: mean"), tr("#least"), tr("#5 % below"), tr("#sigma")),
    )
    count = tr("Directions count from the site's x axis anticlockwise. Bar size is not measured.")
    return f"<h2>{tr('Mats of bars')}</h2>\n{table(heads, rows)}\n<p>{TEXT} {count}</p>"


def _whole(metres: float) -> str:
    return f"{1000 * metres:.0f}"
