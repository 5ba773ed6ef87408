"""The part of a report on mats of bars."""

from typing import Iterable

from ..common.language import tr
from ..common.words import word
from ..floor.mats import PlaneMat
from ..store.schema import MATS
from .page import millimetres, table


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
    return f"<h2>{tr('Mats of bars')}</h2>\n{table(heads, rows)}\n<p>{MATS.description} {count}</p>"


def _whole(metres: float) -> str:
    return f"{1000 * metres:.0f}"
