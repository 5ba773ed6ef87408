"""Move planned penetrations to the nearest clear places."""

import math

from qgis.core import (
    QgsProcessing,
    QgsProcessingOutputNumber,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterNumber,
    QgsProcessingParameterVectorDestination,
)

from ...processing.common.language import tr
from ...processing.penetrations.placement import PlacementRules
from ...processing.steps.placepenetrations import place_penetrations_step
from ...processing.store.schema import PENETRATION_PLACES
from ..project.layers import table_source
from ..styles.penetrations import style_verdicts
from . import penetration_inputs as inputs
from .base import InslabAlgorithm, not_a_survey, positive_number, survey_parameter
from .loading import style_when_loaded


class PlacePenetrations(InslabAlgorithm):
    """Survey and planned holes in; the nearest places where they are clear out."""

    SURVEY, PENETRATIONS, OUTPUT = "SURVEY", inputs.PENETRATIONS, "OUTPUT"
    SEARCH, TURN, TURN_STEP = "SEARCH", "TURN", "TURN_STEP"
    ALTERNATIVES, ALLOWED, PATTERN_FIELD = "ALTERNATIVES", "ALLOWED", PENETRATION_PLACES.pattern_id
    PLACED_COUNT, NOT_PLACED_COUNT = "PLACED_COUNT", "NOT_PLACED_COUNT"

    NAME = "placepenetrations"
    TITLE = tr("Place penetrations")
    GROUP = "penetrations"
    TAGS = tr("penetration,place,move,anchor,base plate,pattern,core,drilling,clear,alternative,nearest,concrete,radar")
    SUMMARY = tr(
        "Moves planned holes, or rigid patterns of anchors, to the nearest places where all of them are clear."
    )
    DESCRIPTION = tr(
        "This algorithm shifts each planned hole to the nearest place where 'Check penetrations' calls it clear. "
        "Holes with the same pattern_id (the anchors of a base plate) move together as one rigid pattern, which may "
        "also be rotated. Places are ranked by their distance from the planned one; alternatives are at least 20 mm "
        "apart. Where there is no clear place, the planned one is returned with rank 0 and the reason."
    )
    HELP = {
        SURVEY: tr("The survey.gpkg with items and coverage that 'Process a survey' or 'Detect items' wrote."),
        inputs.PENETRATIONS: inputs.HELP[inputs.PENETRATIONS]
        + tr(" Holes with the same pattern_id are one rigid pattern. Only upright holes can be placed."),
        SEARCH: tr("Largest shift in plan, metres."),
        TURN: tr("Largest rotation of a pattern to either side, degrees; 0 keeps its direction."),
        TURN_STEP: tr("Step of the rotation, degrees."),
        ALTERNATIVES: tr("Number of places wanted for each hole or pattern."),
        ALLOWED: tr("Polygons that must contain the holes up to their rims; left empty: anywhere."),
        **{name: text for name, text in inputs.HELP.items() if name != inputs.PENETRATIONS},
        OUTPUT: tr(
            "GeoPackage that gets the layer {layer}; other layers in it are kept.", layer=PENETRATION_PLACES.name
        ),
        PLACED_COUNT: tr("Number of holes or patterns for which there is a clear place."),
        NOT_PLACED_COUNT: tr("Number of holes or patterns for which there is none."),
    }
    PACKAGES = ("scipy", "rasterio")

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        self.addParameter(inputs.penetrations_parameter())
        self.addParameter(positive_number(self.SEARCH, tr("Search distance (m)"), 0.15, 0.0, 2.0))
        self.addParameter(positive_number(self.TURN, tr("Largest rotation (degrees)"), 0.0, 0.0, 180.0))
        self.addParameter(
            positive_number(self.TURN_STEP, tr("Step of the rotation (degrees)"), 5.0, 0.5, 90.0, advanced=True)
        )
        self.addParameter(
            QgsProcessingParameterNumber(
                self.ALTERNATIVES, tr("Alternatives"), QgsProcessingParameterNumber.Type.Integer, 3, False, 1, 20
            )
        )
        self.addParameter(
            QgsProcessingParameterFeatureSource(
                self.ALLOWED, tr("Allowed area"), [QgsProcessing.SourceType.TypeVectorPolygon], None, True
            )
        )
        for parameter in (*inputs.place_parameters(), *inputs.rule_parameters(), *inputs.confidence_parameters()):
            self.addParameter(parameter)
        self.addParameter(QgsProcessingParameterVectorDestination(self.OUTPUT, tr("Places")))
        self.addOutput(QgsProcessingOutputNumber(self.PLACED_COUNT, tr("Placed")))
        self.addOutput(QgsProcessingOutputNumber(self.NOT_PLACED_COUNT, tr("Not placed")))

    def problems(self, parameters, context):
        return [
            *not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context)),
            *inputs.column_problems(self, parameters, context),
            *inputs.rule_problems(self, parameters, context),
        ]

    def compute(self, parameters, context, monitor):
        table = inputs.HoleTable(self, parameters, context)
        patterns = [
            str(row.get(self.PATTERN_FIELD) or tr("hole {name}", name=name))
            for row, name in zip(table.rows, table.holes.ids)
        ]
        destination = self.parameterAsOutputLayer(parameters, self.OUTPUT, context)
        output = inputs.geopackage_of(destination)
        placed, failed = place_penetrations_step(
            self.parameterAsFile(parameters, self.SURVEY, context),
            table.holes,
            table.sides,
            patterns,
            table.rows,
            table.fields,
            output,
            inputs.read_rules(self, parameters, context),
            PlacementRules(
                self.parameterAsDouble(parameters, self.SEARCH, context),
                math.radians(self.parameterAsDouble(parameters, self.TURN, context)),
                math.radians(self.parameterAsDouble(parameters, self.TURN_STEP, context)),
                self.parameterAsInt(parameters, self.ALTERNATIVES, context),
                inputs.polygon_edges(self, parameters, self.ALLOWED, context),
            ),
            inputs.read_confidence(self, parameters, context),
            monitor,
        )
        style_when_loaded(context, destination, tr("Places for penetrations"), style_verdicts)
        return {
            self.OUTPUT: table_source(output, PENETRATION_PLACES.name),
            self.PLACED_COUNT: len(placed),
            self.NOT_PLACED_COUNT: len(failed),
        }
