"""Estimate wave speed and time zero of every scan area."""

from qgis.core import QgsProcessingOutputNumber, QgsProcessingOutputVectorLayer, QgsProcessingParameterFile

from ...processing.common.language import tr
from ...processing.steps.wavespeed import wave_speed_step
from ...processing.store.schema import WAVE_SPEEDS
from ..project.layers import table_source
from .base import InslabAlgorithm, not_a_survey, survey_parameter


class EstimateWaveSpeed(InslabAlgorithm):
    """Survey in; its layer `wave_speeds` out."""

    SURVEY, KNOWN_DEPTHS, WAVE_SPEEDS, AREA_COUNT = "SURVEY", "KNOWN_DEPTHS", "WAVE_SPEEDS", "AREA_COUNT"

    NAME = "wavespeed"
    TITLE = tr("Estimate wave speed")
    GROUP = "depth"
    TAGS = tr("wave speed,velocity,time zero,permittivity,calibration,depth,concrete,radar")
    SUMMARY = tr("Estimates the wave speed in the concrete and the time zero of each scan area from its own data.")
    DESCRIPTION = tr(
        "This algorithm finds, for each scan area, the wave speed in the concrete and the instant of time zero, by "
        "matching the direct wave and the echoes of bars with a model of the whole wave. Both, with their 1-sigma, "
        "go into the layer wave_speeds of the survey; depth slices and items are computed with them. They are "
        "checked against the speed at which deep echoes focus, and against depths that are known from a core, a "
        "drill hole or a drawing. A known depth also contributes to the result, weighted by its uncertainty. Where "
        "they disagree by more than their uncertainties, a warning says so."
    )
    HELP = {
        SURVEY: tr("The GeoPackage that 'Read a survey' wrote; its layer wave_speeds is rewritten."),
        KNOWN_DEPTHS: (
            tr(
                "Optional: a table (CSV) with the columns area_id, feature, local_x_m, local_y_m, depth_m, sigma_m, "
                "speed_m_ns and sigma_m_ns. The feature is item (the top of an item was found at this depth), base "
                "(the slab has this thickness there) or speed (the wave speed itself is known); cells that a feature "
                "does not need stay empty. An item's row counts only where the radar sees an item within 30 mm of "
                "the place. Without a table here, known_depths.csv of the survey folder is used where there is one."
            )
        ),
        WAVE_SPEEDS: (
            tr(
                "One row for each area: speed, time zero, their 1-sigma, relative permittivity, how they were found, "
                "and the speed at which deep echoes focus."
            )
        ),
        AREA_COUNT: tr("Number of areas whose wave speed could be estimated."),
    }
    PACKAGES = ("scipy",)

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        self.addParameter(
            QgsProcessingParameterFile(
                self.KNOWN_DEPTHS, tr("Known depths"), QgsProcessingParameterFile.Behavior.File, "csv", optional=True
            )
        )
        self.addOutput(QgsProcessingOutputVectorLayer(self.WAVE_SPEEDS, tr("Wave speeds")))
        self.addOutput(QgsProcessingOutputNumber(self.AREA_COUNT, tr("Areas")))

    def problems(self, parameters, context):
        return not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context))

    def compute(self, parameters, context, monitor):
        survey_path = self.parameterAsFile(parameters, self.SURVEY, context)
        known_depths = self.parameterAsFile(parameters, self.KNOWN_DEPTHS, context) or None
        result = wave_speed_step(survey_path, known_depths, monitor=monitor)
        self.show_when_done(context, survey_path)
        return {
            self.WAVE_SPEEDS: table_source(survey_path, WAVE_SPEEDS.name),
            self.AREA_COUNT: len(result.found.wave_speeds),
        }
