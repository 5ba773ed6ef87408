"""A sheet for each penetration, to be signed before it is drilled."""

import tempfile
from pathlib import Path

from qgis.core import (
    QgsProcessing,
    QgsProcessingAlgorithm,
    QgsProcessingOutputNumber,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterString,
    QgsProcessingParameterVectorDestination,
)

from ...processing.common.errors import ProcessingError
from ...processing.common.language import tr
from ...processing.penetrations.drill_sheet import GridAxis
from ...processing.steps.drillsheet import drill_sheet_step, write_sheet_table
from ...processing.steps.shared.verdict_layers import check_output
from ...processing.store.schema import DRILL_SHEET
from ..layouts.drill_sheet import write_drill_sheets
from ..project.layers import table_source
from ..styles.penetrations import style_verdicts
from . import penetration_inputs as inputs
from .base import InslabAlgorithm, not_a_survey, survey_parameter
from .loading import style_when_loaded


class DrillSheet(InslabAlgorithm):
    """Survey and planned holes in; a table and a PDF with a page for each out."""

    SURVEY, PENETRATIONS, OUTPUT, SHEETS = "SURVEY", inputs.PENETRATIONS, "OUTPUT", "SHEETS"
    AXES, AXIS_NAME, SHEET_COUNT = "AXES", "AXIS_NAME", "SHEET_COUNT"

    NAME = "drillsheet"
    TITLE = tr("Write drill sheets")
    GROUP = "penetrations"
    TAGS = tr("drill sheet,penetration,core,drilling,anchor,setting out,grid axis,signature,PDF,layout,concrete,radar")
    SUMMARY = tr("Writes a table and a page for each planned hole: where, how deep, what is near, and a place to sign.")
    DESCRIPTION = tr(
        "This algorithm checks planned holes and writes for each one its coordinates in the site grid, its "
        "offsets from the two nearest grid axes, the depth to which it is clear, the nearest items, the "
        "verdict with margin and reason, the cautions, and a place for the signature of the responsible "
        "engineer. The table goes into a GeoPackage, the pages with plan and section into a PDF."
    )
    HELP = {
        SURVEY: tr("The survey.gpkg with items and coverage that 'Process a survey' or 'Detect items' wrote."),
        AXES: tr("Lines of the building's grid axes on the site grid; each line is taken to run on beyond its ends."),
        AXIS_NAME: tr("Column of the axes that holds their names."),
        **inputs.HELP,
        OUTPUT: tr("GeoPackage that gets the layer {layer}; other layers in it are kept.", layer=DRILL_SHEET.name),
        SHEETS: tr("The pages (PDF)."),
        SHEET_COUNT: tr("Number of sheets written."),
    }
    PACKAGES = ("scipy", "rasterio", "matplotlib")

    def flags(self):
        # A layout belongs to the main thread.
        return super().flags() | QgsProcessingAlgorithm.Flag.FlagNoThreading

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        self.addParameter(inputs.penetrations_parameter())
        lines = [QgsProcessing.SourceType.TypeVectorLine]
        self.addParameter(QgsProcessingParameterFeatureSource(self.AXES, tr("Grid axes"), lines, None, True))
        self.addParameter(QgsProcessingParameterString(self.AXIS_NAME, tr("Column with the names of the axes"), "name"))
        for parameter in (*inputs.place_parameters(), *inputs.rule_parameters(), *inputs.confidence_parameters()):
            self.addParameter(parameter)
        self.addParameter(QgsProcessingParameterVectorDestination(self.OUTPUT, tr("Table")))
        self.addParameter(QgsProcessingParameterFileDestination(self.SHEETS, tr("Sheets"), tr("PDF (*.pdf)")))
        self.addOutput(QgsProcessingOutputNumber(self.SHEET_COUNT, tr("Sheets")))

    def problems(self, parameters, context):
        axes = self.parameterAsSource(parameters, self.AXES, context)
        name = self.parameterAsString(parameters, self.AXIS_NAME, context)
        lacking = []
        if axes is not None and name not in axes.fields().names():
            words = {"layer": axes.sourceName(), "column": name}
            lacking = [tr("The grid axes {layer} have no column {column}; name another one.", **words)]
        return [
            *not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context)),
            *inputs.column_problems(self, parameters, context),
            *inputs.rule_problems(self, parameters, context),
            *lacking,
        ]

    def compute(self, parameters, context, monitor):
        table = inputs.HoleTable(self, parameters, context)
        destination = self.parameterAsOutputLayer(parameters, self.OUTPUT, context)
        output = inputs.geopackage_of(destination)
        sheets = self.parameterAsFileOutput(parameters, self.SHEETS, context)
        survey = self.parameterAsFile(parameters, self.SURVEY, context)
        check_output(output)
        with tempfile.TemporaryDirectory(prefix="inslab-") as folder:
            rows = drill_sheet_step(
                survey,
                table.holes,
                table.sides,
                Path(folder) / "sections",
                inputs.read_rules(self, parameters, context),
                self._axes(parameters, context),
                inputs.read_confidence(self, parameters, context),
                monitor.part(0.0, 0.6),
            )
            # The pages draw a table of their own, so that a run stopped there leaves earlier results alone.
            drawn = Path(folder) / "table.gpkg"
            write_sheet_table(drawn, rows, survey)
            write_drill_sheets(sheets, survey, drawn, DRILL_SHEET.name, rows, monitor.part(0.6, 1.0))
        write_sheet_table(output, rows, survey)
        style_when_loaded(context, destination, tr("Drill sheet"), style_verdicts)
        return {self.OUTPUT: table_source(output, DRILL_SHEET.name), self.SHEETS: sheets, self.SHEET_COUNT: len(rows)}

    def _axes(self, parameters, context) -> list:
        name = self.parameterAsString(parameters, self.AXIS_NAME, context)
        axes = []
        for label, start, end in inputs.line_ends(self, parameters, self.AXES, name, context):
            if start == end:
                raise ProcessingError(tr("Grid axis {label} is not a line; draw it with two points.", label=label))
            axes.append(GridAxis(label, start, end))
        return axes
