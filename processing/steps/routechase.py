"""Where to cut a chase between two points."""

from typing import Mapping, Optional, Tuple

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.surfaces import TOP
from ..penetrations.chase import Chase, ChaseRules, route_chase
from ..penetrations.ground import choose_level, find_ground, read_tables
from ..penetrations.model import Confidence, KindRule
from ..store.layer import layer_of
from ..store.schema import CHASES
from .shared.verdict_layers import check_output, write_layers


def route_chase_step(
    survey_path,
    start_m: Tuple[float, float],
    end_m: Tuple[float, float],
    output_path,
    rules: Mapping[str, KindRule],
    wanted: ChaseRules,
    surface: str = TOP,
    level: Optional[str] = None,
    confidence: Confidence = Confidence(),
    monitor: Monitor = Monitor(),
) -> Chase:
    """Finds the cheapest chase and writes it as the one line of the layer `chases`.

    Raises `ProcessingError` where there is none, and then writes nothing.
    """
    confidence.check()
    check_output(output_path)
    tables = read_tables(survey_path)
    ground = find_ground(tables, choose_level(tables, surface, level), surface, rules)
    found = route_chase(
        start_m, end_m, ground.pieces, ground.known, rules, wanted, confidence, monitor.part(0.05, 0.95)
    )
    if found is None:
        raise ProcessingError(
            tr(
                "There is no route for a chase {depth:.0f} mm deep and {width:.0f} mm wide between these points "
                "within {around_m:g} m of them; allow a crossing, a larger detour or another depth.",
                depth=1000 * wanted.depth_m,
                width=1000 * wanted.width_m,
                around_m=wanted.around_m,
            )
        )
    crossed, close = ", ".join(found.crossed), ", ".join(found.too_close)
    reason = (
        tr("Keeps its distance from all known items.")
        if not (crossed or close)
        else tr("Only where crossing is allowed: ")
    )
    reason += tr("cuts {crossed}", crossed=crossed) if crossed else ""
    reason += ("; " if crossed and close else "") + (tr("comes too close to {close}", close=close) if close else "")
    values = {
        CHASES.level: ground.level,
        CHASES.surface: surface,
        CHASES.depth_m: wanted.depth_m,
        CHASES.width_m: wanted.width_m,
        CHASES.length_m: found.length_m,
        CHASES.bend_count: len(found.bends_deg),
        CHASES.crossed_items: crossed or None,
        CHASES.too_close_items: close or None,
        CHASES.reason: reason if reason.endswith(".") else f"{reason}.",
    }
    monitor.step(0.97)
    write_layers(output_path, [layer_of(CHASES, [(found.vertices_m, values)])], tables.crs_wkt)
    return found
