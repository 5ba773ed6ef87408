"""Export a drawing: DXF, a GeoPackage of chosen layers, points to set out."""

from qgis.core import (
    QgsProcessingOutputNumber,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterNumber,
)

from ...processing.common.language import tr, trn
from ...processing.common.vocabulary.kinds import KINDS
from ...processing.reports.plane_content import DrawingChoice
from ...processing.steps.exportdrawing import export_drawing_step
from ...processing.steps.shared.verdict_layers import check_output
from . import penetration_inputs as inputs
from .base import InslabAlgorithm, not_a_survey, positive_number, survey_parameter

GRIDS = ("site", "national")


class ExportDrawing(InslabAlgorithm):
    """Survey or record in; DXF, GeoPackage and CSV out."""

    SURVEY, PENETRATIONS, SURFACE, LEVEL = "SURVEY", inputs.PENETRATIONS, inputs.SURFACE, inputs.LEVEL
    KINDS, FROM_DEPTH, TO_DEPTH, GRID = "KINDS", "FROM_DEPTH", "TO_DEPTH", "GRID"
    DEPTH_BAND, TEXT_HEIGHT, SPACING, SURFACE_HEIGHT = "DEPTH_BAND", "TEXT_HEIGHT", "SPACING", "SURFACE_HEIGHT"
    DXF, GEOPACKAGE, POINTS, ITEM_COUNT = "DXF", "GEOPACKAGE", "POINTS", "ITEM_COUNT"

    NAME = "exportdrawing"
    TITLE = tr("Export a drawing")
    GROUP = "handover"
    TAGS = tr("export,drawing,dxf,cad,geopackage,csv,setting out,total station,layers,depth,hand over,concrete,radar")
    SUMMARY = tr("Writes the items of one level as a DXF drawing, a GeoPackage and points to set out.")
    DESCRIPTION = tr(
        "This algorithm writes what was found on one level in formats that others work with. The DXF drawing "
        "contains each item as a 3-D polyline on a layer for its kind and depth band, with the depth and its 1-sigma "
        "beside it, the outlines of scan areas and of what counts as scanned, hatching over everything unknown, "
        "planned holes with their verdicts if given, and the cautions as text; its unit is the metre. The GeoPackage "
        "contains the same rows with all their columns. The table of points contains both ends of each item and "
        "points between them. Z is minus the depth from the scanned surface. The layer names are explained in "
        "docs/drawings.md."
    )
    HELP = {
        SURVEY: tr(
            "The survey.gpkg with items and coverage that 'Process a survey' or 'Detect items' wrote, or the "
            "GeoPackage of a record, whose items have the same columns."
        ),
        PENETRATIONS: tr(
            "Planned holes to be drawn: the verdicts of 'Check penetrations', or points with penetration_id and "
            "diameter_m, which are then marked as not checked."
        ),
        SURFACE: tr("The scanned surface that is drawn."),
        LEVEL: tr("The level that is drawn; may be left empty where there is only one on this surface."),
        KINDS: tr("Kinds of items that are drawn. The drawing says what is left out."),
        FROM_DEPTH: tr("Items whose top lies wholly above this depth are left out (m)."),
        TO_DEPTH: tr("Items whose top lies wholly below this depth are left out (m)."),
        GRID: tr(
            "Coordinates of DXF and points: the site grid, or the national grid that it was tied to by 'Define the "
            "site grid'. The GeoPackage always uses the site grid, whose definition includes the tie."
        ),
        DEPTH_BAND: tr("Thickness of the depth bands that layers of the DXF are named after (m)."),
        TEXT_HEIGHT: tr("Height of text in the DXF (m on site)."),
        SPACING: tr("Largest distance between points along an item (m)."),
        SURFACE_HEIGHT: tr("Height of the scanned surface (m). With it the points get heights, without it depths."),
        DXF: tr("The drawing (DXF)."),
        GEOPACKAGE: tr(
            "GeoPackage with the chosen items, scan areas, coverage and holes; an existing file is replaced."
        ),
        POINTS: tr("Table of points (CSV); a text that explains it is written beside it."),
        ITEM_COUNT: tr("Number of items with a position that were written."),
    }

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        for parameter in inputs.place_parameters():
            self.addParameter(parameter)
        self.addParameter(
            QgsProcessingParameterEnum(self.KINDS, tr("Kinds"), list(KINDS), True, list(KINDS), False, True)
        )
        self.addParameter(positive_number(self.FROM_DEPTH, tr("From depth (m)"), 0.0, 0.0, 10.0))
        self.addParameter(positive_number(self.TO_DEPTH, tr("To depth (m)"), 10.0, 0.0, 10.0))
        self.addParameter(inputs.penetrations_parameter(optional=True))
        self.addParameter(
            QgsProcessingParameterEnum(self.GRID, tr("Coordinates"), list(GRIDS), False, GRIDS[0], False, True)
        )
        self.addParameter(positive_number(self.DEPTH_BAND, tr("Depth bands (m)"), 0.05, 0.001, 1.0))
        self.addParameter(positive_number(self.TEXT_HEIGHT, tr("Height of text (m)"), 0.03, 0.001, 1.0, advanced=True))
        self.addParameter(positive_number(self.SPACING, tr("Spacing of points (m)"), 0.5, 0.01, 100.0))
        number = QgsProcessingParameterNumber.Type.Double
        self.addParameter(
            QgsProcessingParameterNumber(
                self.SURFACE_HEIGHT, tr("Height of the scanned surface (m)"), number, None, True
            )
        )
        for name, label, kind, by_default in (
            (self.DXF, tr("Drawing"), "DXF (*.dxf)", True),
            (self.GEOPACKAGE, tr("Layers"), "GeoPackage (*.gpkg)", False),
            (self.POINTS, tr("Points to set out"), "CSV (*.csv)", False),
        ):
            self.addParameter(QgsProcessingParameterFileDestination(name, label, kind, None, True, by_default))
        self.addOutput(QgsProcessingOutputNumber(self.ITEM_COUNT, tr("Items")))

    def problems(self, parameters, context):
        sentences = not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context), or_record=True)
        shallow, deep = (self.parameterAsDouble(parameters, name, context) for name in (self.FROM_DEPTH, self.TO_DEPTH))
        if shallow > deep:
            sentences.append(
                tr("'From depth' ({top} m) is greater than 'To depth' ({base} m): swap them.", top=shallow, base=deep)
            )
        outputs = (self.DXF, self.GEOPACKAGE, self.POINTS)
        if not any(self.parameterAsFileOutput(parameters, name, context) for name in outputs):
            sentences.append(tr("There is nothing to write: choose a file for the drawing, the layers or the points."))
        if parameters.get(self.PENETRATIONS):
            sentences += inputs.place_problems(self, parameters, context)
        return sentences

    def compute(self, parameters, context, monitor):
        paths = {
            name: self.parameterAsFileOutput(parameters, name, context) or None
            for name in (self.DXF, self.GEOPACKAGE, self.POINTS)
        }
        if paths[self.GEOPACKAGE]:
            check_output(paths[self.GEOPACKAGE])
        heights = parameters.get(self.SURFACE_HEIGHT) is not None
        drawing = export_drawing_step(
            self.parameterAsFile(parameters, self.SURVEY, context),
            self.parameterAsEnumString(parameters, self.SURFACE, context),
            self.parameterAsString(parameters, self.LEVEL, context) or None,
            DrawingChoice(
                tuple(self.parameterAsEnumStrings(parameters, self.KINDS, context)),
                self.parameterAsDouble(parameters, self.FROM_DEPTH, context),
                self.parameterAsDouble(parameters, self.TO_DEPTH, context),
            ),
            inputs.hole_rows(self, parameters, context),
            self.parameterAsEnumString(parameters, self.GRID, context) == "national",
            paths[self.DXF],
            paths[self.GEOPACKAGE],
            paths[self.POINTS],
            self.parameterAsDouble(parameters, self.DEPTH_BAND, context),
            self.parameterAsDouble(parameters, self.TEXT_HEIGHT, context),
            self.parameterAsDouble(parameters, self.SPACING, context),
            self.parameterAsDouble(parameters, self.SURFACE_HEIGHT, context) if heights else None,
            monitor,
        )
        monitor.log(trn("{count} item was written.", "{count} items were written.", len(drawing.placed)))
        return {**{name: path for name, path in paths.items() if path}, self.ITEM_COUNT: len(drawing.placed)}
