"""What a report says of what depths and unknown ground rest on: wave speeds, what counts as scanned, findings."""

from typing import Mapping, Optional

import numpy as np

from ..common.language import tr
from ..common.vocabulary.surfaces import plane_words
from ..common.vocabulary.values import method_words, word
from ..common.words import mm, plus_minus, tenths_of_mm
from ..geometry.shapes import polygon_of
from ..radar.model import WaveSpeed
from ..store.schema import AREA_DEPTHS, COVERAGE, FINDINGS, SCAN_AREAS
from ..survey.tables import STATED_THICKNESS
from .content import Bullets, Column, Length, Section, Text, table_of
from .fits import further_columns
from .tables import SurveyTables

AGREE = 2.58  # sigma: 99 of 100 differences are smaller


def wave_speeds_section(tables: SurveyTables, length: Length) -> Section:
    """Wave speed and time zero of each area, with what took no part in them and so checks them."""
    known = {row[SCAN_AREAS.area_id]: further_columns(row).get(STATED_THICKNESS) for row in tables.values(SCAN_AREAS)}
    bases = {row[AREA_DEPTHS.area_id]: row for row in tables.values(AREA_DEPTHS)}

    def by_thickness(speed):
        return _by_thickness(bases.get(speed.area_id), known.get(speed.area_id))

    def by_focus(speed):
        return tr("not in a record") if tables.is_record else _by_focus(speed)

    def time_zero(speed):
        return f"{speed.time_zero_ns:.3f} ± {speed.sigma_time_zero_ns:.3f}"

    columns = (
        Column(tr("Area"), 7, lambda speed: speed.area_id),
        Column(tr("#Wave speed m/ns"), 19, lambda speed: f"{speed.speed_m_ns:.4f} ± {speed.sigma_m_ns:.4f}"),
        Column(tr("#Permittivity"), 12, lambda speed: f"{speed.relative_permittivity:.1f}"),
        Column(tr("#Time zero ns"), 15, time_zero, Length.RUN),
        Column(tr("#At 100 mm depth, mm"), 11, lambda speed: f"± {tenths_of_mm(speed.depth_sigma_m(0.1))}"),
        Column(tr("Found from"), 16, lambda speed: method_words(speed.method)),
        Column(tr("Check: focusing"), 18, by_focus),
        Column(tr("Check: slab thickness"), 17, by_thickness),
    )
    text = tr(
        "Depths follow from travel times and the speed of radar waves in this concrete. The speed was estimated from "
        "the data of each area; the checks did not enter into it. The column 'at 100 mm' is the uncertainty that "
        "speed and time zero together add to a depth there (1-sigma)."
    )  # fmt: skip
    speeds = list(tables.wave_speeds.values())
    parts = [Text(text), table_of(columns, speeds, length, tr("No wave speed is stored."))]
    sentences = [f"{speed.area_id}: {warning}" for speed in speeds for warning in speed.warnings]
    return Section(tr("Wave speeds, and checks on them"), [*parts, *([Bullets(sentences)] if sentences else [])])


def _by_focus(speed: WaveSpeed) -> str:
    if np.isnan(speed.focus_speed_m_ns):
        return tr("nothing deep enough")
    apart = speed.focus_speed_m_ns - speed.speed_m_ns
    agrees = abs(apart) <= AGREE * np.hypot(speed.focus_sigma_m_ns, speed.sigma_m_ns)
    words = tr("agrees") if agrees else tr("DISAGREES")
    return f"{speed.focus_speed_m_ns:.4f} ± {speed.focus_sigma_m_ns:.4f}, {words}"


def _by_thickness(base: Optional[Mapping], known) -> str:
    if base is None or base[AREA_DEPTHS.thickness_m] is None:
        return tr("base not seen")
    seen = tr("seen {mm} mm", mm=plus_minus(base[AREA_DEPTHS.thickness_m], base[AREA_DEPTHS.sigma_thickness_m]))
    try:
        given = float(known)
    except (TypeError, ValueError):
        return tr("{seen}; true one not known", seen=seen)
    return tr("{seen}; given {mm} mm", seen=seen, mm=mm(given))


def scanned_ground_section(tables: SurveyTables, length: Length) -> Section:
    """What counts as scanned, and how deep."""

    def ground(row):
        return "" if row["rings"] is None else f"{polygon_of(row['rings']).Area():.2f}"

    columns = (
        Column(tr("Area"), 10, lambda row: row[COVERAGE.area_id]),
        Column(tr("Level"), 22, lambda row: plane_words((row[COVERAGE.level], row[COVERAGE.surface]))),
        Column(
            tr("Lines run"),
            15,
            lambda row: tr("both ways") if row[COVERAGE.line_directions] >= 2 else tr("ONE WAY ONLY"),
        ),
        Column(tr("#Seen to mm"), 12, lambda row: mm(row[COVERAGE.depth_m]) or tr("not known")),
        Column(tr("#Ground m²"), 11, ground),
        Column(tr("Note"), 30, lambda row: row.get(COVERAGE.note) or ""),
    )
    text = tr(
        "Everything outside the scanned ground, and everything below the depth seen, is unknown. Where lines run one "
        "way only, objects along them can be missed."
    )
    rows = [{**row, "rings": rings} for rings, row in tables.rows(COVERAGE)]
    return Section(
        tr("Ground that counts as scanned"),
        [Text(text), table_of(columns, rows, length, tr("Nothing counts as scanned."))],
    )


def findings_section(tables: SurveyTables, length: Length) -> Section:
    """What was left out or needs a look."""

    def severity(row):
        words = word(row[FINDINGS.severity])
        return words.upper() if row[FINDINGS.severity] == "error" else words

    columns = (
        Column(tr("Severity"), 10, severity),
        Column(tr("Where"), 20, lambda row: word(row[FINDINGS.where_found])),
        Column(tr("What"), 70, lambda row: row[FINDINGS.text]),
    )
    text = tr("An error means that the data were left out, a warning that they were used and need a look.")
    empty = tr("Nothing was left out, and nothing needs a look.")
    if tables.is_record:
        empty = tr("A record does not hold the findings of single surveys; these are in their own reports.")
    listed = table_of(columns, tables.values(FINDINGS), length, empty)
    return Section(tr("Findings and limits"), [Text(text), listed])
