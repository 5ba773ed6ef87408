"""Wave speed and time zero of every area."""

from dataclasses import replace

from ..area.settings import RunSettings
from ..common.monitor import Monitor
from ..common.vocabulary.steps import ESTIMATE_SPEED
from ..floor import areas
from ..floor.result import StepResult
from ..store import layers
from ..store.locks import changes_survey
from .shared.survey_run import begin_again, end_again


@changes_survey
def wave_speed_step(
    survey_path, known_depths_path=None, settings: RunSettings = RunSettings(), monitor: Monitor = Monitor()
) -> StepResult:
    """Estimates wave speed and time zero of each area and writes the layer `wave_speeds` into `survey_path`.

    `known_depths_path` names another table of known depths than the survey folder's.
    """
    read, found = begin_again(survey_path, monitor.part(0.0, 0.1))
    read, found = areas.with_known_depths(read, replace(found, wave_speeds={}), monitor, known_depths_path)
    found = areas.work_areas(read, found, settings, monitor.part(0.1, 0.99), volume=False, items=False)
    steps = [(ESTIMATE_SPEED, {**settings.of_lines(), "known_depths": len(read.known_depths)})]
    end_again(read, found, layers.speed_evidence(found.wave_speeds), steps)
    return StepResult(read, found)
