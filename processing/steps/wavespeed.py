"""Wave speed and time zero of every area."""

from ..area.settings import RunSettings
from ..common.monitor import Monitor
from ..floor import areas
from ..floor.result import ChainResult
from ..store import layers
from ..store.locks import changes_survey
from .shared.survey_run import reopen, update_survey


@changes_survey
def wave_speed_step(
    survey_path, known_depths_path=None, settings: RunSettings = RunSettings(), monitor: Monitor = Monitor()
) -> ChainResult:
    """Estimates wave speed and time zero of each area and writes the layer `wave_speeds` into `survey_path`.

    `known_depths_path` names another table of known depths than the survey folder's.
    """
    result = reopen(survey_path, monitor.part(0.0, 0.1))
    result.wave_speeds.clear()
    known = areas.known_depths(result, monitor, known_depths_path)
    areas.work_areas(result, settings, monitor.part(0.1, 0.99), volume=False, items=False)
    steps = [("estimate wave speed", {**settings.of_lines(), "known_depths": len(known)})]
    update_survey(result, layers.speed_evidence(result.wave_speeds), steps)
    return result
