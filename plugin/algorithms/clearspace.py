"""Map of the largest diameter that may be drilled."""

from functools import partial

from qgis.core import QgsProcessingOutputNumber, QgsProcessingParameterRasterDestination

from ...processing.common.language import tr
from ...processing.steps.clearspace import clear_space_step
from ..styles.penetrations import style_clear_space
from . import penetration_inputs as inputs
from .base import InslabAlgorithm, not_a_survey, positive_number, survey_parameter
from .loading import style_when_loaded


class ClearSpaceMap(InslabAlgorithm):
    """Survey and depth in; a raster of the largest drillable diameter out."""

    SURVEY, DEPTH, LARGEST, CELL, OUTPUT = "SURVEY", "DEPTH", "LARGEST", "CELL", "OUTPUT"
    KNOWN_AREA, FREE_AREA = "KNOWN_AREA", "FREE_AREA"

    NAME = "clearspace"
    TITLE = tr("Map clear space")
    GROUP = "penetrations"
    TAGS = tr(
        "clear space,penetration,core,drilling,anchor,largest diameter,keep-out,free,unknown,raster,concrete,radar"
    )
    SUMMARY = tr(
        "Maps the largest diameter that may be drilled to a given depth at each place; unknown ground has no value."
    )
    DESCRIPTION = tr(
        "This algorithm computes, for each cell of a level, the largest diameter of an upright hole to the given "
        "depth whose axis is at the cell's centre and that 'Check penetrations' would call clear. Zero means that "
        "nothing may be drilled there. A cell without a value is unknown: not scanned in both directions, not deep "
        "enough, below a dense mat, or too close to such ground. Distances are exact, from the cell's centre to the "
        "items' lines."
    )
    HELP = {
        SURVEY: tr("The survey.gpkg with items and coverage that 'Process a survey' or 'Detect items' wrote."),
        DEPTH: tr("Depth of the holes below the surface, metres."),
        **inputs.help_for(inputs.SURFACE, inputs.LEVEL, inputs.KEEP_OUT, inputs.OBJECT_DIAMETERS),
        inputs.TOLERANCE: tr("1-sigma of setting out in each direction of the plan, metres."),
        **inputs.help_for(inputs.CONFIDENCE, inputs.TOUCH_LIMIT, inputs.DEPTH_TOLERANCE),
        LARGEST: tr("Largest diameter of interest, metres; no cell has a larger value."),
        CELL: tr("Size of a cell, metres."),
        OUTPUT: tr("GeoTIFF on the site grid, metres of diameter; no value means unknown."),
        KNOWN_AREA: tr("Ground that is known to this depth, square metres."),
        FREE_AREA: tr("Ground on which something may be drilled, square metres."),
    }
    PACKAGES = ("scipy", "rasterio")

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        self.addParameter(positive_number(self.DEPTH, tr("Depth of the holes (m)"), 0.10, 0.001, 5.0))
        for parameter in (*inputs.place_parameters(), *inputs.rule_parameters(), *inputs.confidence_parameters()):
            self.addParameter(parameter)
        self.addParameter(positive_number(self.LARGEST, tr("Largest diameter of interest (m)"), 0.30, 0.01, 2.0))
        self.addParameter(positive_number(self.CELL, tr("Cell size (m)"), 0.005, 0.001, 0.1))
        self.addParameter(QgsProcessingParameterRasterDestination(self.OUTPUT, tr("Clear space")))
        self.addOutput(QgsProcessingOutputNumber(self.KNOWN_AREA, tr("Known ground (m²)")))
        self.addOutput(QgsProcessingOutputNumber(self.FREE_AREA, tr("Ground on which something may be drilled (m²)")))

    def problems(self, parameters, context):
        output = self.parameterAsOutputLayer(parameters, self.OUTPUT, context)
        wrong = [] if output.lower().endswith((".tif", ".tiff")) else [tr("The output must be a GeoTIFF (.tif).")]
        survey = not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context))
        return [*survey, *inputs.rule_problems(self, parameters, context), *wrong]

    def compute(self, parameters, context, monitor):
        output = self.parameterAsOutputLayer(parameters, self.OUTPUT, context)
        largest = self.parameterAsDouble(parameters, self.LARGEST, context)
        cell = self.parameterAsDouble(parameters, self.CELL, context)
        known, free = clear_space_step(
            self.parameterAsFile(parameters, self.SURVEY, context),
            output,
            self.parameterAsDouble(parameters, self.DEPTH, context),
            inputs.read_rules(self, parameters, context),
            self.parameterAsEnumString(parameters, inputs.SURFACE, context),
            self.parameterAsString(parameters, inputs.LEVEL, context) or None,
            self.parameterAsDouble(parameters, inputs.TOLERANCE, context),
            largest,
            cell,
            inputs.read_confidence(self, parameters, context),
            monitor,
        )
        title = tr("Largest diameter that may be drilled (grey: UNKNOWN)")
        style_when_loaded(context, output, title, partial(style_clear_space, largest_m=largest))
        return {self.OUTPUT: output, self.KNOWN_AREA: known * cell**2, self.FREE_AREA: free * cell**2}
