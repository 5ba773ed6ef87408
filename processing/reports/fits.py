"""What a report says of scans and places: what was scanned with what, the fit of the areas, its observations and tests, seams."""

import json
from collections import defaultdict
from typing import Dict, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.language import tr, trn
from ..common.vocabulary.surfaces import plane_words
from ..common.vocabulary.values import word
from ..common.words import tenths_of_mm
from ..site.frame import FITTED
from ..site.results import SiteFit
from ..site.rows import KIND_WORDS
from ..site.statistics import critical_ratio
from ..store.schema import CONTROL_POINTS, SCAN_AREAS, SCAN_LINES, SEAMS, TIES
from .content import Column, Length, Section, Table, Text, table_of
from .tables import SurveyTables

NO_AREA = tr("No scan area is listed.")


def scans_section(tables: SurveyTables, length: Length, failures: Mapping[str, str]) -> Section:
    """The areas, their lines and what they were scanned with; `failures` says by area id why a run gave no complete result."""
    lengths: Dict[str, float] = defaultdict(float)
    for row in tables.values(SCAN_LINES):
        lengths[row[SCAN_LINES.area_id]] += row[SCAN_LINES.length_m] or 0.0

    def line_length(row):
        return f"{lengths[row[SCAN_AREAS.area_id]]:.1f}" if row[SCAN_AREAS.area_id] in lengths else ""

    columns = [
        Column(tr("Area"), 7, lambda row: row[SCAN_AREAS.area_id]),
        Column(tr("Level"), 15, lambda row: plane_words((row[SCAN_AREAS.level], row[SCAN_AREAS.surface]))),
        Column(tr("#Lines"), 7, lambda row: row.get(SCAN_AREAS.line_count) or ""),
        Column(tr("#Length m"), 9, line_length),
        Column(tr("Instrument"), 12, lambda row: str(further_columns(row).get("instrument") or "")),
        Column(tr("#Frequency MHz"), 12, lambda row: _number(row.get(SCAN_AREAS.centre_frequency_mhz), 1.0)),
        Column(tr("#Antenna spacing mm"), 10, lambda row: _number(row.get(SCAN_AREAS.antenna_separation_m), 1000.0)),
        Column(tr("Scanned"), 12, _scanned),
        Column(tr("Note"), 16, lambda row: row.get(SCAN_AREAS.note) or ""),
    ]
    if failures:
        columns.append(Column(tr("Not done"), 16, lambda row: failures.get(row[SCAN_AREAS.area_id], "")))
    listed = table_of(columns, tables.values(SCAN_AREAS), length, NO_AREA)
    return Section(tr("Scans and instrument"), [listed], new_page=True)


def further_columns(row: Mapping) -> Dict:
    """What else stood in a scan area's row of the survey folder."""
    return json.loads(row.get(SCAN_AREAS.further_columns) or "{}")


def _number(value: Optional[float], factor: float) -> str:
    return "" if value is None else f"{factor * value:g}"


def _scanned(row: Mapping) -> str:
    return " ".join(str(row[name]) for name in (SCAN_AREAS.scanned_on, SCAN_AREAS.scanned_by) if row.get(name))


def fit_sections(tables: SurveyTables, length: Length, site_fit: Optional[SiteFit]) -> List[Section]:
    """The fit of the areas, control points, other observations, seams; `site_fit` is the adjustment of a run that made one."""
    found = (
        _places(tables, length, site_fit),
        _control_points(tables, length),
        _other_observations(tables, length),
        _seams(tables, length),
    )
    return [section for section in found if section]


def _places(tables: SurveyTables, length: Length, site_fit: Optional[SiteFit]) -> Section:
    columns = (
        Column(tr("Area"), 14, lambda row: row[SCAN_AREAS.area_id]),
        Column(tr("Position"), 20, lambda row: tr("fitted") if row[SCAN_AREAS.status] == FITTED else tr("NO POSITION")),
        Column(tr("#Control points used"), 16, lambda row: row.get(SCAN_AREAS.points_used) or ""),
        Column(tr("#Residual RMS mm"), 16, lambda row: tenths_of_mm(row.get(SCAN_AREAS.rms_residual_m))),
        Column(tr("#Largest mm"), 16, lambda row: tenths_of_mm(row.get(SCAN_AREAS.worst_residual_m))),
        Column(tr("#Uncertainty of position mm"), 18, lambda row: tenths_of_mm(row.get(SCAN_AREAS.sigma_xy_m))),
    )
    text = tr(
        "All areas were fitted to the site grid together, by least squares. A residual is how far a control point "
        "lies from its given position after the fit. The uncertainty (1-sigma) is that of the best-known point of an "
        "area; it grows outwards and is included in that of the items."
    )  # fmt: skip
    parts = [Text(text), table_of(columns, tables.values(SCAN_AREAS), length, NO_AREA)]
    if site_fit:
        parts.insert(1, Text(" ".join(_adjustment_sentences(site_fit))))
    return Section(tr("Fit of the areas to the site grid"), parts)


def _adjustment_sentences(site_fit: SiteFit) -> List[str]:
    settings = site_fit.settings
    placed = sum(fit.is_fitted for fit in site_fit.fits.values())
    left_out = sum(not found.used for found in site_fit.observations)
    sentences = [
        tr(
            "{placed} of {count} areas are placed, by {observations} observations adjusted together "
            "({degrees_of_freedom} degrees of freedom).",
            placed=placed,
            count=len(site_fit.fits),
            observations=len(site_fit.observations),
            degrees_of_freedom=site_fit.degrees_of_freedom,
        )
    ]
    if site_fit.variance_factor is not None:
        low, high = site_fit.interval
        inside = tr("inside") if low <= site_fit.variance_factor <= high else tr("OUTSIDE")
        sentences.append(
            tr(
                "Variance factor {variance_factor:.3f}, {inside} the interval {low:.3f} to {high:.3f} that contains "
                "it with 95 % probability if the stated sigmas are right.",
                variance_factor=site_fit.variance_factor,
                inside=inside,
                low=low,
                high=high,
            )
        )
    share = f"{100 * settings.significance:g} %"
    sentences.append(
        tr(
            "Test for wrong observations: a standardized residual above {critical_ratio:.2f}; {share} of good "
            "ones exceed that. {left_out} left out, one at a time, each named above and in the tables. "
            "'Detectable' is the smallest error that the test finds with {power:g} % probability; smaller ones "
            "can go unseen.",
            critical_ratio=critical_ratio(settings.significance),
            share=share,
            left_out=left_out,
            power=100 * settings.power,
        )
    )
    for name, (scale, sigma) in site_fit.scales.items():
        sentences.append(
            tr(
                "Scale of {name}: {scale:+.0f} ± {sigma:.0f} ppm against the site grid.",
                name=word(name),
                scale=1e6 * (scale - 1),
                sigma=1e6 * sigma,
            )
        )
    return sentences


def _control_points(tables: SurveyTables, length: Length) -> Optional[Section]:
    rows = tables.values(CONTROL_POINTS)
    if not rows and length is Length.CLIENT:
        return None

    def metres(value):
        return "" if value is None else f"{value:.3f}"

    def redundancy(row):
        return (
            f"{row[CONTROL_POINTS.redundancy_x]:.2f} / {row[CONTROL_POINTS.redundancy_y]:.2f}"
            if row[CONTROL_POINTS.used]
            else ""
        )

    def detectable(row):
        if row[CONTROL_POINTS.residual_x_m] is None:
            return ""
        both = (row[CONTROL_POINTS.detectable_x_m], row[CONTROL_POINTS.detectable_y_m])
        return _detectable(None if None in both else max(both), "m")

    run = Length.RUN
    columns = (
        Column(tr("Area"), 10, lambda row: row[CONTROL_POINTS.area_id]),
        Column(tr("Point"), 14, lambda row: row[CONTROL_POINTS.point_id]),
        Column(tr("#Site x m"), 14, lambda row: metres(row[CONTROL_POINTS.site_x_m])),
        Column(tr("#Site y m"), 14, lambda row: metres(row[CONTROL_POINTS.site_y_m])),
        Column(tr("#Given sigma mm"), 12, lambda row: tenths_of_mm(row[CONTROL_POINTS.sigma_m])),
        Column(tr("#Residual x mm"), 14, lambda row: tenths_of_mm(row[CONTROL_POINTS.residual_x_m])),
        Column(tr("#Residual y mm"), 14, lambda row: tenths_of_mm(row[CONTROL_POINTS.residual_y_m])),
        Column(tr("#Residual / its sigma"), 12, lambda row: _ratio(row[CONTROL_POINTS.standardized]), run),
        Column(tr("#Redundancy x / y"), 16, redundancy, run),
        Column(tr("#Detectable mm"), 14, detectable, run),
        Column(tr("Used"), 8, _used),
    )
    text = tr(
        "Residuals are fitted minus given, on the site grid; those of points that are not used are against what the "
        "others say. A redundancy number is the fraction of an error that shows in the residual."
    )
    if length is Length.CLIENT:
        text = tr("Residuals are fitted minus given, on the site grid.")
    empty = tr("No control point is listed.")
    return Section(tr("Control points"), [table_of(columns, rows, length, empty), Text(text)])


def _other_observations(tables: SurveyTables, length: Length) -> Optional[Section]:
    """Ties, directions and tapes: a run's report has each, a client's sums them up by pair of areas and kind."""
    rows = tables.values(TIES)
    if not rows:
        return None
    title = tr("Ties, directions and taped distances")
    if length is Length.CLIENT:
        return Section(title, [_observations_in_short(rows)])
    columns = (
        Column(tr("Kind"), 14, lambda row: KIND_WORDS.get(row[TIES.kind], row[TIES.kind])),
        Column(tr("Name"), 12, lambda row: row[TIES.tie_id]),
        Column(tr("Areas"), 12, _between),
        Column(tr("#Sigma mm"), 10, lambda row: _in_unit(row[TIES.sigma], row[TIES.unit])),
        Column(tr("#Residual mm"), 14, _residual),
        Column(tr("#Residual / its sigma"), 10, lambda row: _ratio(row[TIES.standardized] or None)),
        Column(
            tr("#Redundancy (smaller one)"), 10, lambda row: f"{row[TIES.redundancy]:.2f}" if row[TIES.used] else ""
        ),
        Column(tr("#Detectable mm"), 10, lambda row: _detectable(row[TIES.detectable], row[TIES.unit])),
        Column(tr("Used"), 8, _used),
    )
    text = tr(
        "A tie across an item is a straight item that two areas both see. Parallel items share the errors of the "
        "lines that cross them, so those of two areas together count as one observation: each carries a sigma "
        "enlarged by the square root of their number."
    )
    return Section(title, [table_of(columns, rows, length), Text(text)])


def _observations_in_short(rows: Sequence[Mapping]) -> Table:
    groups: Dict[Tuple[str, str], List[Mapping]] = defaultdict(list)
    for row in rows:
        groups[row[TIES.kind], _between(row)].append(row)

    def largest(key):
        worst = max(groups[key], key=lambda row: abs(row[TIES.residual]))
        return _in_unit(abs(worst[TIES.residual]), worst[TIES.unit]) + ("" if worst[TIES.unit] == "rad" else " mm")

    columns = (
        Column(tr("Kind"), 26, lambda key: KIND_WORDS.get(key[0], key[0])),
        Column(tr("Areas"), 22, lambda key: key[1]),
        Column(tr("#Number"), 10, lambda key: len(groups[key])),
        Column(tr("#Largest residual"), 16, largest),
        Column(
            tr("#Largest / its sigma"), 14, lambda key: f"{max(row[TIES.standardized] or 0.0 for row in groups[key]):.1f}"
        ),
        Column(tr("#Left out"), 12, lambda key: sum(not row[TIES.used] for row in groups[key]) or tr("none")),
    )  # fmt: skip
    return table_of(columns, sorted(groups), Length.CLIENT)


def _between(row: Mapping) -> str:
    return " – ".join(name for name in (row[TIES.area_id], row[TIES.area_id_b]) if name)


def _in_unit(value: float, unit: str) -> str:
    """An angle (`rad`) in degrees, a length (`m`) in millimetres, which the head of the column names."""
    return f"{np.degrees(value):.3f}°" if unit == "rad" else tenths_of_mm(value)


def _residual(row: Mapping) -> str:
    both = [row[TIES.residual], row[TIES.residual_y]]
    return " / ".join(_in_unit(value, row[TIES.unit]) for value in both if value is not None)


def _ratio(standardized: Optional[float]) -> str:
    return "" if standardized is None else f"{standardized:.1f}"


def _detectable(smallest: Optional[float], unit: str) -> str:
    """The smallest error that the test finds; says so where nothing checks the observation."""
    return tr("unchecked") if smallest is None else _in_unit(smallest, unit)


def _used(row: Mapping) -> str:
    return tr("yes") if row[TIES.used] else tr("NO")


def _seams(tables: SurveyTables, length: Length) -> Optional[Section]:
    groups: Dict[Tuple[str, str], List[Mapping]] = defaultdict(list)
    for row in tables.values(SEAMS):
        groups[row[SEAMS.area_id], row[SEAMS.area_id_b]].append(row)
    if not groups:
        return None

    def values(ids, name):
        return np.array([row[name] for row in groups[ids]])

    def spread(ids, name):
        return tenths_of_mm(np.sqrt(np.mean(values(ids, name) ** 2)))

    def largest(ids, name):
        return tenths_of_mm(np.abs(values(ids, name)).max())

    def middle(ids, name):
        return tenths_of_mm(np.median(values(ids, name)))

    def agreement(ids):
        apart = sum(not row[SEAMS.agrees] for row in groups[ids])
        return (
            trn("{count} of {all} does not", "{count} of {all} do not", apart, all=len(groups[ids]))
            if apart
            else tr("all")
        )

    run = Length.RUN
    columns = (
        Column(tr("Areas"), 16, " – ".join),
        Column(tr("#Shared items"), 10, lambda ids: len(groups[ids])),
        Column(tr("#In plan RMS mm"), 12, lambda ids: spread(ids, SEAMS.lateral_m)),
        Column(tr("#Largest mm"), 12, lambda ids: largest(ids, SEAMS.lateral_m)),
        Column(tr("#Expected sigma mm"), 12, lambda ids: middle(ids, SEAMS.sigma_lateral_m)),
        Column(tr("#In depth RMS mm"), 12, lambda ids: spread(ids, SEAMS.depth_offset_m)),
        Column(tr("#Median mm"), 12, lambda ids: middle(ids, SEAMS.depth_offset_m), run),
        Column(tr("#Largest mm"), 12, lambda ids: largest(ids, SEAMS.depth_offset_m), run),
        Column(tr("#Expected sigma mm"), 12, lambda ids: middle(ids, SEAMS.sigma_depth_m)),
        Column(tr("Agree (99 %)"), 14, agreement),
    )
    parts = [
        Text(tr("Where two areas overlap, both see the same items. This is how far apart they put them.")),
        table_of(columns, sorted(groups), length),
    ]
    if length is Length.RUN:
        parts.append(
            Text(
                tr(
                    "Expected sigmas include those of both items and, across the item, those of both areas' "
                    "positions; where the items also tied the areas together, the remaining offsets are smaller than "
                    "that. Each item is a line in the layer seams."
                )
            )
        )
    return Section(tr("Seams between areas"), parts)
