"""Estimate wave speed and time zero of every scan area."""

from qgis.core import QgsProcessingOutputNumber, QgsProcessingOutputVectorLayer

from ...processing.chain import wave_speed_step
from ..layers import table_source
from .base import InslabAlgorithm, not_a_survey, survey_parameter, tr


class EstimateWaveSpeed(InslabAlgorithm):
    """Survey in; its layer `wave_speeds` out."""

    SURVEY, WAVE_SPEEDS, AREA_COUNT = "SURVEY", "WAVE_SPEEDS", "AREA_COUNT"

    NAME = "wavespeed"
    TITLE = "Estimate wave speed"
    GROUP = "depth"
    TAGS = "wave speed,velocity,time zero,permittivity,calibration,depth,concrete,radar"
    SUMMARY = "Estimates the wave speed in the concrete and the time zero of each scan area from its own data."
    DESCRIPTION = (
        "This algorithm finds, for each scan area, the wave speed in the concrete and the instant that counts as time zero, by "
        "matching the direct wave and the echoes of bars with the exact path between the two dipoles. Both, with their 1-sigma, "
        "go into the layer wave_speeds of the survey; depth slices and items are computed with them."
    )
    HELP = {
        SURVEY: "The GeoPackage that 'Read a survey' wrote; the layer wave_speeds in it is written anew.",
        WAVE_SPEEDS: "One row for each area: speed, time zero, their 1-sigma, relative permittivity, and how they were found.",
        AREA_COUNT: "Number of areas whose wave speed could be estimated.",
    }
    PACKAGES = ("scipy",)

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        self.addOutput(QgsProcessingOutputVectorLayer(self.WAVE_SPEEDS, tr("Wave speeds")))
        self.addOutput(QgsProcessingOutputNumber(self.AREA_COUNT, tr("Areas")))

    def problems(self, parameters, context):
        return not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context))

    def compute(self, parameters, context, monitor):
        survey_path = self.parameterAsFile(parameters, self.SURVEY, context)
        result = wave_speed_step(survey_path, monitor)
        self.show_when_done(context, survey_path)
        return {
            self.WAVE_SPEEDS: table_source(survey_path, "wave_speeds"),
            self.AREA_COUNT: len(result.wave_speeds),
        }
