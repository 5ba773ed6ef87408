"""Where to cut a chase between two points."""

from typing import Mapping, Optional, Tuple

from ..common import cautions
from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..penetrations.chase import Chase, ChaseRules, route_chase
from ..penetrations.ground import choose_level, read_ground
from ..penetrations.model import Confidence, KindRule
from ..store.layer import Layer
from .shared.verdict_layers import check_output, write_layers

CHASE_LAYER = "chases"


CHASE_FIELDS = {
    **dict.fromkeys(("level", "surface"), str),
    **dict.fromkeys(("depth_m", "width_m", "length_m"), float),
    "bend_count": int,
    **dict.fromkeys(("crossed_items", "too_close_items", "reason"), str),
}


def route_chase_step(
    survey_path,
    start_m: Tuple[float, float],
    end_m: Tuple[float, float],
    output_path,
    rules: Mapping[str, KindRule],
    wanted: ChaseRules,
    surface: str = "top",
    level: Optional[str] = None,
    confidence: Confidence = Confidence(),
    monitor: Monitor = Monitor(),
) -> Chase:
    """Finds the cheapest chase and writes it as the one line of the layer `chases`.

    Raises `ProcessingError` where there is none, and then writes nothing.
    """
    confidence.check()
    check_output(output_path)
    ground = read_ground(survey_path, choose_level(survey_path, surface, level), surface, rules)
    found = route_chase(
        start_m, end_m, ground.pieces, ground.known, rules, wanted, confidence, monitor.part(0.05, 0.95)
    )
    if found is None:
        raise ProcessingError(
            tr(
                "There is no way for a chase {depth:.0f} mm deep and {width:.0f} mm wide between these points "
                "within {around_m:g} m around them; allow a crossing, a larger detour or another depth.",
                depth=1000 * wanted.depth_m,
                width=1000 * wanted.width_m,
                around_m=wanted.around_m,
            )
        )
    crossed, close = ", ".join(found.crossed), ", ".join(found.too_close)
    reason = tr("Keeps off all known items.") if not (crossed or close) else tr("Only where crossing is allowed: ")
    reason += tr("cuts {crossed}", crossed=crossed) if crossed else ""
    reason += ("; " if crossed and close else "") + (tr("comes too close to {close}", close=close) if close else "")
    values = {
        "level": ground.level,
        "surface": surface,
        "depth_m": wanted.depth_m,
        "width_m": wanted.width_m,
        "length_m": found.length_m,
        "bend_count": len(found.bends_deg),
        "crossed_items": crossed or None,
        "too_close_items": close or None,
        "reason": reason if reason.endswith(".") else f"{reason}.",
    }
    monitor.step(0.97)
    text = tr("Chases between two points, with what they cross. {short}", short=cautions.SHORT)
    write_layers(
        output_path, [Layer(CHASE_LAYER, "LineString", CHASE_FIELDS, [(found.vertices_m, values)], text)], survey_path
    )
    return found
