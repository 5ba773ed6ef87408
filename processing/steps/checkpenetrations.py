"""Planned penetrations checked against what is known."""

from typing import Dict, List, Mapping, Optional, Sequence, Tuple

from ..common.monitor import Monitor
from ..penetrations.check import Verdict
from ..penetrations.ground import read_tables
from ..penetrations.model import Confidence, KindRule, Penetrations
from ..store.layer import layer_of
from ..store.schema import PENETRATION_VERDICTS
from ..store.schema_penetrations import VERDICT_FIELDS
from .shared.verdict_layers import (
    check_by_plane,
    check_output,
    draw_sections,
    write_layers,
)


def check_penetrations_step(
    survey_path,
    holes: Penetrations,
    sides: Sequence[Tuple[str, Optional[str]]],
    given: Sequence[Mapping],
    fields: Mapping[str, type],
    output_path,
    rules: Mapping[str, KindRule],
    confidence: Confidence = Confidence(),
    sections_folder=None,
    monitor: Monitor = Monitor(),
) -> List[Verdict]:
    """Checks planned penetrations and writes the layer `penetration_verdicts` into the GeoPackage `output_path`.

    `sides` holds surface and level (None: the only one) of each hole, `given` the attributes that came with it, `fields`
    their names and types; all go into the result. Other layers of an existing file are kept. With `sections_folder`, a
    vertical section through each hole is drawn as SVG. Returns the verdicts in the order of `holes`.
    """
    confidence.check()
    check_output(output_path)
    tables = read_tables(survey_path)
    verdicts, grounds = check_by_plane(tables, holes, sides, rules, confidence, monitor.part(0.05, 0.6))
    kept = {name: kind for name, kind in fields.items() if name not in VERDICT_FIELDS}
    # Where each was checked, also if the table did not say so: plans and bodies are told apart by it.
    kept.update(level=str, surface=str)
    given = [
        {**values, PENETRATION_VERDICTS.level: ground.level, PENETRATION_VERDICTS.surface: surface}
        for values, ground, (surface, _level) in zip(given, grounds, sides)
    ]
    if sections_folder:
        kept[PENETRATION_VERDICTS.section] = str
        names = draw_sections(sections_folder, holes, verdicts, grounds, confidence, monitor.part(0.6, 0.94))
        given = [{**values, PENETRATION_VERDICTS.section: name} for values, name in zip(given, names)]
    rows = [
        (
            tuple(entry),
            {
                **{name: value for name, value in values.items() if name in kept},
                **{name: getattr(verdict, name) for name in VERDICT_FIELDS},
            },
        )
        for entry, values, verdict in zip(holes.entry_m, given, verdicts)
    ]
    monitor.step(0.95)
    write_layers(output_path, [layer_of(PENETRATION_VERDICTS, rows, {**kept, **VERDICT_FIELDS})], tables.crs_wkt)
    monitor.progress(1.0)
    return verdicts


def count_verdicts(verdicts: Sequence[Verdict]) -> Dict[str, int]:
    """Number of each verdict that occurs."""
    found = [one.verdict for one in verdicts]
    return {name: found.count(name) for name in sorted(set(found))}
