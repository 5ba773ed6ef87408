"""Compute depth slices and the slab base of every scan area."""

from qgis.core import (
    QgsProcessingOutputNumber,
    QgsProcessingParameterFolderDestination,
)

from ...processing.common.language import tr
from ...processing.steps.depthslices import depth_slices_step
from .base import InslabAlgorithm, not_a_survey, survey_parameter
from .imaging import HELP as SLICE_HELP
from .imaging import run_settings, slice_parameters


class DepthSlices(InslabAlgorithm):
    """Survey in; GeoTIFFs of echo strength, one band a depth, out."""

    SURVEY, OUTPUT_FOLDER, RASTER_COUNT = "SURVEY", "OUTPUT_FOLDER", "RASTER_COUNT"

    NAME = "depthslices"
    TITLE = tr("Compute depth slices")
    GROUP = "depth"
    TAGS = tr("depth slice,time slice,migration,imaging,slab thickness,back wall,echo,raster,concrete,radar")
    SUMMARY = tr("Migrates all lines of each scan area into depth slices on the site grid.")
    DESCRIPTION = tr(
        "This algorithm migrates the lines of each scan area, combines both directions and both dipole axes and "
        "writes the echo strength as GeoTIFF on the site grid: one file for each area and one for each level, one "
        "band for each depth. Values are dB over the local noise; cells that were not scanned have no value. Where "
        "the slab base is seen, its depth and its 1-sigma are written as well."
    )
    HELP = {
        SURVEY: tr("The GeoPackage that 'Read a survey' wrote. Its wave speeds are used; missing ones are estimated."),
        **SLICE_HELP,
        OUTPUT_FOLDER: tr("Folder that gets the folders slices and base."),
        RASTER_COUNT: tr("Number of GeoTIFFs written."),
    }
    PACKAGES = ("scipy", "rasterio")

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        for parameter in slice_parameters():
            self.addParameter(parameter)
        self.addParameter(QgsProcessingParameterFolderDestination(self.OUTPUT_FOLDER, tr("Output folder")))
        self.addOutput(QgsProcessingOutputNumber(self.RASTER_COUNT, tr("Rasters")))

    def problems(self, parameters, context):
        return not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context))

    def compute(self, parameters, context, monitor):
        survey_path = self.parameterAsFile(parameters, self.SURVEY, context)
        folder = self.parameterAsString(parameters, self.OUTPUT_FOLDER, context)
        result = depth_slices_step(survey_path, folder, run_settings(self, parameters, context), monitor)
        self.show_when_done(context, survey_path)
        return {self.OUTPUT_FOLDER: folder, self.RASTER_COUNT: len(result.rasters)}
