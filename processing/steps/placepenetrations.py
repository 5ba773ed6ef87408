"""Where to drill instead: patterns of holes moved to the nearest places where all of it is clear."""

from dataclasses import replace
from typing import Dict, List, Mapping, Optional, Sequence, Tuple

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..penetrations.check import check_holes, check_penetrations
from ..penetrations.ground import Ground, choose_level, find_ground, read_tables
from ..penetrations.model import Confidence, KindRule, Penetrations
from ..penetrations.placement import Place, PlacementRules, place_pattern
from ..store.layer import layer_of
from ..store.schema import PENETRATION_PLACES
from ..store.schema_penetrations import PLACE_FIELDS, VERDICT_FIELDS
from .shared.verdict_layers import check_output, write_layers


def place_penetrations_step(
    survey_path,
    holes: Penetrations,
    sides: Sequence[Tuple[str, Optional[str]]],
    patterns: Sequence[str],
    given: Sequence[Mapping],
    fields: Mapping[str, type],
    output_path,
    rules: Mapping[str, KindRule],
    wanted: PlacementRules,
    confidence: Confidence = Confidence(),
    monitor: Monitor = Monitor(),
) -> Tuple[List[str], List[str]]:
    """Moves each pattern of holes to the nearest places where all of it is clear; writes the layer `penetration_places`.

    Holes with the same text in `patterns` are one rigid pattern. Rank 1 is the nearest place; a pattern that has none stays
    where it is planned, with rank 0 and its verdict there. Returns the patterns that were placed and those that were not.
    """
    confidence.check()
    wanted.check()
    check_output(output_path)
    placed, failed, rows = [], [], []
    kept = {name: kind for name, kind in fields.items() if name not in PLACE_FIELDS}
    names = list(dict.fromkeys(patterns))
    tables = read_tables(survey_path)
    grounds: Dict[Tuple[str, str], Ground] = {}
    for number, name in enumerate(names):
        own = monitor.part(0.02 + 0.95 * number / len(names), 0.02 + 0.95 * (number + 1) / len(names))
        which = [i for i, pattern in enumerate(patterns) if pattern == name]
        if len({sides[i] for i in which}) > 1:
            raise ProcessingError(
                tr("Pattern {name} has holes on several levels or surfaces; give each its own pattern_id.", name=name)
            )
        surface, level = sides[which[0]]
        plane = choose_level(tables, surface, level), surface
        if plane not in grounds:
            grounds[plane] = find_ground(tables, *plane, rules)
        pieces, known = grounds[plane].pieces, grounds[plane].known
        planned = holes.subset(which)
        check_holes(planned)
        places = place_pattern(planned, pieces, known, rules, wanted, confidence, own)
        (placed if places else failed).append(name)
        if not places:
            verdicts = check_penetrations(planned, pieces, known, rules, confidence)
            sentence = tr("No clear place within {search:.0f} mm", search=1000 * wanted.search_m)
            sentence += tr(" inside the allowed area") if wanted.allowed_edges_m is not None else ""
            verdicts = [
                replace(
                    one,
                    reason=tr("{sentence}. At the planned position: {reason}", sentence=sentence, reason=one.reason),
                )
                for one in verdicts
            ]
            places = [Place(np.zeros(2), 0.0, planned, verdicts)]
            monitor.warn(tr("{sentence}: {name}.", sentence=sentence, name=name))
        for rank, place in enumerate(places, 0 if name in failed else 1):
            for i, entry, verdict in zip(which, place.holes.entry_m, place.verdicts):
                values = {key: value for key, value in given[i].items() if key in kept}
                values.update({key: getattr(verdict, key) for key in VERDICT_FIELDS})
                values.update(pattern_id=name, rank=rank, turn_deg=np.degrees(place.turn_rad))
                values.update(moved_m=np.hypot(*(entry - holes.entry_m[i])))
                values.update(shift_x_m=entry[0] - holes.entry_m[i, 0], shift_y_m=entry[1] - holes.entry_m[i, 1])
                rows.append((tuple(entry), values))
    monitor.step(0.98)
    write_layers(output_path, [layer_of(PENETRATION_PLACES, rows, {**kept, **PLACE_FIELDS})], tables.crs_wkt)
    return placed, failed
