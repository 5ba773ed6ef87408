"""What stands behind the results in the client's report: scans, instrument, fit of the areas, wave speeds, findings."""

import json
from typing import Dict, List, Mapping, Optional, Tuple

import numpy as np

from ..common.language import tr
from ..common.words import method_words, mm, plane_words, plus_minus, word
from ..site.rows import KIND_WORDS
from .content import Bullets, Section, Table, Text
from .page import millimetres

WIDTHS_OF_SCANS = (7, 15, 7, 9, 12, 12, 10, 12, 16)
AGREE = 2.58  # sigma: 99 of 100 differences are smaller


def evidence_sections(tables) -> List[Section]:
    """The sections in order; `tables` are the `SurveyTables` of the survey."""
    return [
        _scans(tables),
        _places(tables),
        *(one for one in (_control_points(tables), _ties(tables), _seams(tables)) if one),
        _wave_speeds(tables),
        _scanned_ground(tables),
        _findings(tables),
    ]


def _scans(tables) -> Section:
    rows = []
    lengths: Dict[str, float] = {}
    for row in tables.values("scan_lines"):
        lengths[row["area_id"]] = lengths.get(row["area_id"], 0.0) + (row["length_m"] or 0.0)
    for row in tables.values("scan_areas"):
        rows.append(
            (
                row["area_id"],
                plane_words((row["level"], row["surface"])),
                row.get("line_count") or "",
                f"{lengths[row['area_id']]:.1f}" if row["area_id"] in lengths else "",
                _instrument(row),
                _number(row.get("centre_frequency_mhz"), 1.0),
                _number(row.get("antenna_separation_m"), 1000.0),
                " ".join(str(row[name]) for name in ("scanned_on", "scanned_by") if row.get(name)),
                row.get("note") or "",
            )
        )
    heads = (
        *(tr("Area"), tr("Level"), tr("#Lines"), tr("#Length m"), tr("Instrument"), tr("#Frequency MHz")),
        *(tr("#Antenna spacing mm"), tr("Scanned"), tr("Note")),
    )
    return Section(
        tr("Scans and instrument"), [Table(heads, rows, tr("No scan area is listed."), WIDTHS_OF_SCANS)], new_page=True
    )


def _instrument(row: Mapping) -> str:
    return str(_further(row).get("instrument") or "")


def _further(row: Mapping) -> Dict:
    return json.loads(row.get("further_columns") or "{}")


def _number(value: Optional[float], factor: float) -> str:
    return "" if value is None else f"{factor * value:g}"


def _places(tables) -> Section:
    rows = [
        (
            row["area_id"],
            tr("fitted") if row["status"] == "fitted" else tr("NO POSITION"),
            row.get("points_used") or "",
            millimetres(row.get("rms_residual_m")),
            millimetres(row.get("worst_residual_m")),
            millimetres(row.get("sigma_xy_m")),
        )
        for row in tables.values("scan_areas")
    ]
    heads = (
        *(tr("Area"), tr("Position"), tr("#Control points used"), tr("#Residual RMS mm")),
        *(tr("#Largest mm"), tr("#Uncertainty of the place mm")),
    )
    text = tr(
        "All areas were fitted to the site grid together, by least squares. A residual is how far a control point lies "
        "from its given place after the fit. The uncertainty (1-sigma) is that of the best known point of an area; it "
        "grows outwards and is contained in that of the items."
    )  # fmt: skip
    return Section(tr("How the areas were fitted"), [Text(text), Table(heads, rows, tr("No scan area is listed."))])


def _control_points(tables) -> Optional[Section]:
    rows = [
        (
            row["area_id"],
            row["point_id"],
            f"{row['site_x_m']:.3f}" if row["site_x_m"] is not None else "",
            f"{row['site_y_m']:.3f}" if row["site_y_m"] is not None else "",
            millimetres(row["sigma_m"]),
            millimetres(row["residual_x_m"]),
            millimetres(row["residual_y_m"]),
            tr("yes") if row["used"] else tr("NO"),
        )
        for row in tables.values("control_points")
    ]
    heads = (
        *(tr("Area"), tr("Point"), tr("#Site x m"), tr("#Site y m"), tr("#Given sigma mm")),
        *(tr("#Residual x mm"), tr("#Residual y mm"), tr("Used")),
    )
    return Section(tr("Control points"), [Table(heads, rows)]) if rows else None


def _ties(tables) -> Optional[Section]:
    """Ties, directions and tapes by pair of areas and kind; hundreds of shared items would tell a client nothing."""
    groups: Dict[Tuple[str, str], List[Mapping]] = {}
    for row in tables.values("ties"):
        between = " – ".join(name for name in (row["area_id"], row["area_id_b"]) if name)
        groups.setdefault((row["kind"], between), []).append(row)
    rows = []
    for (kind, between), own in sorted(groups.items()):
        angles = own[0]["unit"] == "rad"
        worst = max(abs(row["residual"]) for row in own)
        ratio = max((row["standardized"] or 0.0) for row in own)
        left_out = sum(not row["used"] for row in own)
        rows.append(
            (
                KIND_WORDS.get(kind, kind),
                between,
                len(own),
                f"{np.degrees(worst):.3f}°" if angles else f"{millimetres(worst)} mm",
                f"{ratio:.1f}",
                left_out or tr("none"),
            )
        )
    heads = (
        *(tr("Kind"), tr("Areas"), tr("#Number"), tr("#Largest residual")),
        *(tr("#Largest over its sigma"), tr("#Left out")),
    )
    return Section(tr("What else holds the areas together"), [Table(heads, rows)]) if rows else None


def _seams(tables) -> Optional[Section]:
    groups: Dict[Tuple[str, str], List[Mapping]] = {}
    for row in tables.values("seams"):
        groups.setdefault((row["area_id"], row["area_id_b"]), []).append(row)
    rows = []
    for ids, own in sorted(groups.items()):
        lateral = np.array([row["lateral_m"] for row in own])
        depth = np.array([row["depth_offset_m"] for row in own])
        apart = sum(not row["agrees"] for row in own)
        rows.append(
            (
                " – ".join(ids),
                len(own),
                millimetres(np.sqrt(np.mean(lateral**2))),
                millimetres(np.abs(lateral).max()),
                millimetres(np.median([row["sigma_lateral_m"] for row in own])),
                millimetres(np.sqrt(np.mean(depth**2))),
                millimetres(np.median([row["sigma_depth_m"] for row in own])),
                tr("all") if not apart else tr("{count} do not", count=apart),
            )
        )
    heads = (
        *(tr("Areas"), tr("#Shared items"), tr("#In plan RMS mm"), tr("#Largest mm"), tr("#Expected sigma mm")),
        *(tr("#In depth RMS mm"), tr("#Expected sigma mm"), tr("Agree")),
    )
    text = tr("Where two areas overlap, both see the same items. This is how far apart they put them.")
    return Section(tr("Seams between areas"), [Text(text), Table(heads, rows)]) if rows else None


def _wave_speeds(tables) -> Section:
    rows, sentences = [], []
    known = {row["area_id"]: _further(row).get("slab_thickness_m") for row in tables.values("scan_areas")}
    bases = {row["area_id"]: row for row in tables.values("area_depths")}
    for area_id, speed in tables.wave_speeds.items():
        rows.append(
            (
                area_id,
                f"{speed.speed_m_ns:.4f} ± {speed.sigma_m_ns:.4f}",
                f"{speed.relative_permittivity:.1f}",
                f"± {millimetres(speed.depth_sigma_m(0.1))}",
                method_words(speed.method),
                tr("not in a record") if tables.is_record else _by_focus(speed),
                _by_thickness(bases.get(area_id), known.get(area_id)),
            )
        )
        sentences += [f"{area_id}: {text}" for text in speed.warnings]
    heads = (
        *(tr("Area"), tr("#Wave speed m/ns"), tr("#Permittivity"), tr("#At 100 mm depth, mm"), tr("Found from")),
        *(tr("Check: focusing"), tr("Check: slab thickness")),
    )
    text = tr(
        "Depths follow from travel times and the speed of radar waves in this concrete. The speed was estimated from "
        "the data of each area; the checks take no part in it. The column 'at 100 mm' is what speed and time zero "
        "together add to a depth there (1-sigma)."
    )  # fmt: skip
    parts = [Text(text), Table(heads, rows, tr("No wave speed is stored."), (7, 17, 13, 11, 17, 18, 17))]
    return Section(tr("Wave speeds, and what checks them"), [*parts, *([Bullets(sentences)] if sentences else [])])


def _by_focus(speed) -> str:
    if np.isnan(speed.focus_speed_m_ns):
        return tr("nothing deep enough")
    apart = speed.focus_speed_m_ns - speed.speed_m_ns
    agrees = abs(apart) <= AGREE * np.hypot(speed.focus_sigma_m_ns, speed.sigma_m_ns)
    words = tr("agrees") if agrees else tr("DISAGREES")
    return f"{speed.focus_speed_m_ns:.4f} ± {speed.focus_sigma_m_ns:.4f}, {words}"


def _by_thickness(base: Optional[Mapping], known) -> str:
    if base is None or base["thickness_m"] is None:
        return tr("base not seen")
    seen = tr("seen {mm} mm", mm=plus_minus(base["thickness_m"], base["sigma_thickness_m"]))
    try:
        given = float(known)
    except (TypeError, ValueError):
        return tr("{seen}; true one not known", seen=seen)
    return tr("{seen}; given {mm} mm", seen=seen, mm=mm(given))


def _scanned_ground(tables) -> Section:
    rows = []
    for _, row in tables.rows["coverage"]:
        rows.append(
            (
                row["area_id"],
                plane_words((row["level"], row["surface"])),
                tr("both ways") if row["line_directions"] >= 2 else tr("ONE WAY ONLY"),
                mm(row["depth_m"]) or tr("not known"),
                row.get("note") or "",
            )
        )
    heads = (tr("Area"), tr("Level"), tr("Lines run"), tr("#Seen to mm"), tr("Note"))
    text = tr(
        "Everything outside the scanned ground, and everything below the depth seen, is unknown. Where lines run one "
        "way only, objects along them can be missed."
    )
    return Section(
        tr("What counts as scanned"),
        [Text(text), Table(heads, rows, tr("Nothing counts as scanned."), (10, 25, 15, 12, 38))],
    )


def _findings(tables) -> Section:
    rows = [(word(row["severity"]), word(row["where_found"]), row["text"]) for row in tables.values("findings")]
    text = tr("An error means that the thing was left out, a warning that it was used and needs a look.")
    empty = tr("Nothing was left out, and nothing needs a look.")
    if tables.is_record:
        empty = tr("A record does not hold what was noticed in single surveys; their own reports say it.")
    heads = (tr("Severity"), tr("Where"), tr("What"))
    return Section(tr("Findings and limits"), [Text(text), Table(heads, rows, empty, (10, 20, 70))])
