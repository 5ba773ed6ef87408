"""Route a saw cut or chase between two points."""

from qgis.core import (
    QgsProcessing,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterPoint,
    QgsProcessingParameterVectorDestination,
)

from ...processing.common.language import tr
from ...processing.common.vocabulary.kinds import KINDS
from ...processing.penetrations.chase import ChaseRules
from ...processing.steps.routechase import route_chase_step
from ...processing.store.schema import CHASES
from ..project.layers import table_source
from ..styles.penetrations import style_chase
from . import penetration_inputs as inputs
from .base import InslabAlgorithm, not_a_survey, positive_number, survey_parameter
from .loading import style_when_loaded


class RouteChase(InslabAlgorithm):
    """Survey and two points in; the cheapest chase between them out."""

    SURVEY, START, END, OUTPUT = "SURVEY", "START", "END", "OUTPUT"
    DEPTH, WIDTH, CROSS_KINDS, CROSSING_AREAS = "DEPTH", "WIDTH", "CROSS_KINDS", "CROSSING_AREAS"
    BEND, CROSSING_FACTOR, DETOUR, CELL = "BEND", "CROSSING_FACTOR", "DETOUR", "CELL"
    LENGTH, CROSSED_ITEMS, CROSSED_COUNT = "LENGTH", "CROSSED_ITEMS", "CROSSED_COUNT"

    NAME = "routechase"
    TITLE = tr("Route a chase")
    GROUP = "penetrations"
    TAGS = tr("chase,saw cut,slot,groove,route,path,crossing,keep-out,conduit,cable,concrete,radar")
    SUMMARY = tr("Finds the cheapest saw cut or chase between two points that keeps its distance from the items.")
    DESCRIPTION = tr(
        "This algorithm looks for the cheapest route of a saw cut or chase of given depth and width between two "
        "points. It respects the keep-out distances, stays on ground that was scanned in both directions and deep "
        "enough, crosses only kinds that may be crossed, only where crossing is allowed, and prefers few bends. The "
        "result is a line with the items that it cuts or comes too close to. Where there is no route, nothing is "
        "written and the message says so."
    )
    HELP = {
        SURVEY: tr("The survey.gpkg with items and coverage that 'Process a survey' or 'Detect items' wrote."),
        START: tr(
            "Where the chase starts, on the site grid: on ground that was scanned, at the keep-out distance or more "
            "from every item."
        ),
        END: tr("Where it ends; the same applies."),
        DEPTH: tr("Depth of the cut below the surface, metres."),
        WIDTH: tr("Width of the cut, metres."),
        CROSS_KINDS: tr(
            "Kinds of items that may be cut or approached; none by default. The responsible engineer decides."
        ),
        CROSSING_AREAS: tr("Polygons within which they may be crossed; left empty: everywhere."),
        BEND: tr("Cost of a 45-degree bend, in metres of clear ground."),
        CROSSING_FACTOR: tr("Cost of a metre of crossing, in metres of clear ground."),
        DETOUR: tr("How far around both points the route may go, metres."),
        CELL: tr("Cell size of the search, metres."),
        **inputs.help_for(inputs.SURFACE, inputs.LEVEL, inputs.KEEP_OUT, inputs.OBJECT_DIAMETERS),
        inputs.TOLERANCE: tr("1-sigma of setting out in each direction of the plan, metres."),
        **inputs.help_for(inputs.CONFIDENCE, inputs.TOUCH_LIMIT, inputs.DEPTH_TOLERANCE),
        OUTPUT: tr("GeoPackage that gets the layer {layer}; other layers in it are kept.", layer=CHASES.name),
        LENGTH: tr("Length of the chase, metres."),
        CROSSED_ITEMS: tr("Ids of the items that it cuts, separated by commas."),
        CROSSED_COUNT: tr("Number of items that it cuts."),
    }
    PACKAGES = ("scipy", "rasterio")

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        self.addParameter(QgsProcessingParameterPoint(self.START, tr("Start")))
        self.addParameter(QgsProcessingParameterPoint(self.END, tr("End")))
        self.addParameter(positive_number(self.DEPTH, tr("Depth (m)"), 0.03, 0.001, 1.0))
        self.addParameter(positive_number(self.WIDTH, tr("Width (m)"), 0.02, 0.001, 1.0))
        self.addParameter(
            QgsProcessingParameterEnum(
                self.CROSS_KINDS, tr("Kinds that may be crossed"), list(KINDS), True, None, True, True
            )
        )
        self.addParameter(
            QgsProcessingParameterFeatureSource(
                self.CROSSING_AREAS,
                tr("Where they may be crossed"),
                [QgsProcessing.SourceType.TypeVectorPolygon],
                None,
                True,
            )
        )
        self.addParameter(
            positive_number(self.BEND, tr("Cost of a 45-degree bend (m)"), 0.10, 0.0, 10.0, advanced=True)
        )
        self.addParameter(
            positive_number(self.CROSSING_FACTOR, tr("Cost of crossing"), 5.0, 1.0, 1000.0, advanced=True)
        )
        self.addParameter(positive_number(self.DETOUR, tr("Detour around both points (m)"), 1.0, 0.0, 10.0))
        self.addParameter(
            positive_number(self.CELL, tr("Cell size of the search (m)"), 0.01, 0.002, 0.1, advanced=True)
        )
        for parameter in (*inputs.place_parameters(), *inputs.rule_parameters(), *inputs.confidence_parameters()):
            self.addParameter(parameter)
        self.addParameter(QgsProcessingParameterVectorDestination(self.OUTPUT, tr("Chase")))
        self.addOutput(QgsProcessingOutputNumber(self.LENGTH, tr("Length (m)")))
        self.addOutput(QgsProcessingOutputString(self.CROSSED_ITEMS, tr("Items cut")))
        self.addOutput(QgsProcessingOutputNumber(self.CROSSED_COUNT, tr("Number of items cut")))

    def problems(self, parameters, context):
        survey = not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context))
        return [*survey, *inputs.rule_problems(self, parameters, context)]

    def compute(self, parameters, context, monitor):
        start, end = (self.parameterAsPoint(parameters, name, context) for name in (self.START, self.END))
        destination = self.parameterAsOutputLayer(parameters, self.OUTPUT, context)
        output = inputs.geopackage_of(destination)
        numbers = {
            "depth_m": self.DEPTH,
            "width_m": self.WIDTH,
            "tolerance_m": inputs.TOLERANCE,
            "bend_m": self.BEND,
            "crossing_factor": self.CROSSING_FACTOR,
            "around_m": self.DETOUR,
            "cell_m": self.CELL,
        }
        wanted = ChaseRules(
            **{key: self.parameterAsDouble(parameters, name, context) for key, name in numbers.items()},
            cross_kinds=tuple(self.parameterAsEnumStrings(parameters, self.CROSS_KINDS, context)),
            crossing_edges_m=inputs.polygon_edges(self, parameters, self.CROSSING_AREAS, context),
        )
        chase = route_chase_step(
            self.parameterAsFile(parameters, self.SURVEY, context),
            (start.x(), start.y()),
            (end.x(), end.y()),
            output,
            inputs.read_rules(self, parameters, context),
            wanted,
            self.parameterAsEnumString(parameters, inputs.SURFACE, context),
            self.parameterAsString(parameters, inputs.LEVEL, context) or None,
            inputs.read_confidence(self, parameters, context),
            monitor,
        )
        style_when_loaded(context, destination, tr("Chase"), style_chase)
        return {
            self.OUTPUT: table_source(output, CHASES.name),
            self.LENGTH: chase.length_m,
            self.CROSSED_ITEMS: ",".join(chase.crossed),
            self.CROSSED_COUNT: len(chase.crossed),
        }
