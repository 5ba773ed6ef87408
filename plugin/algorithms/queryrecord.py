"""Ask a record what is inside a polygon, along a line or at a level, also as it was known on an earlier date."""

from qgis.core import (
    QgsProcessing,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingOutputVectorLayer,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterString,
)

from ...processing.common.language import tr
from ...processing.common.vocabulary.surfaces import SURFACES
from ...processing.record.query import Question
from ...processing.record.schema import ITEMS
from ...processing.reports.record_answer import UNKNOWN_LAYER
from ...processing.steps.queryrecord import query_record_step
from ...processing.steps.shared.records import site_grid
from ..project.layers import table_source
from ..record import records
from ..record.places import single_place
from .base import InslabAlgorithm, positive_number


class QueryRecord(InslabAlgorithm):
    """Record and a place in; what is known there, what is not, and an answer in sentences out."""

    RECORD, WHERE, WIDTH, LEVEL, SURFACE = "RECORD", "WHERE", "WIDTH", "LEVEL", "SURFACE"
    DEPTH, KNOWN_ON, OUTPUT, REPORT = "DEPTH", "KNOWN_ON", "OUTPUT", "REPORT"
    ITEMS, UNKNOWN, ANSWER, ITEM_COUNT, UNKNOWN_AREA = "ITEMS", "UNKNOWN", "ANSWER", "ITEM_COUNT", "UNKNOWN_AREA"

    NAME = "queryrecord"
    TITLE = tr("Ask the record")
    GROUP = "record"
    TAGS = tr("record,query,history,as known on,unknown,coverage,quality,age,building,facility,concrete,radar")
    SUMMARY = tr(
        "Says what the record knows inside a polygon, along a line or on a level, how certain that is, and what was "
        "never scanned."
    )
    DESCRIPTION = tr(
        "This algorithm gathers everything that a record holds of a place: items with their quality and age, "
        "verifications, penetrations, what was scanned and to which depth, and, as a layer of its own, the "
        "ground that is unknown. With a date it answers as the record knew it then. The answer is given as "
        "layers, as a page and in sentences. Nothing is changed."
    )
    HELP = {
        RECORD: records.HELP,
        WHERE: tr(
            "One polygon or one line (or the selected one of a layer); empty: whole levels. Where the site grid is "
            "tied to a national grid, any coordinate system will do; otherwise only coordinates of the site grid."
        ),
        WIDTH: tr("Width of the strip along a line, both sides together, metres."),
        LEVEL: tr("Level, or elevation of a wall; empty: all levels. Walls are found by name only."),
        SURFACE: tr("Scanned surface; empty: all."),
        DEPTH: tr("Depth down to which ground must have been seen to count as known, metres; empty: any depth."),
        KNOWN_ON: tr(
            "Date, for example 2031-05-04: the answer is what the record knew at the end of that day. "
            "Empty: what it knows now."
        ),
        OUTPUT: tr(
            "GeoPackage with the layers items, verifications, penetrations, coverage and {layer}.",
            layer=UNKNOWN_LAYER,
        ),
        REPORT: tr("The answer as a page (HTML), with the cautions."),
        ITEMS: tr("The items there."),
        UNKNOWN: tr("The ground that is unknown, with the reason."),
        ANSWER: tr("The answer in sentences."),
        ITEM_COUNT: tr("Number of items there."),
        UNKNOWN_AREA: tr("Unknown ground, square metres."),
    }

    def initAlgorithm(self, configuration=None):
        self.addParameter(records.record_parameter(self.RECORD))
        kinds = [QgsProcessing.SourceType.TypeVectorPolygon, QgsProcessing.SourceType.TypeVectorLine]
        self.addParameter(QgsProcessingParameterFeatureSource(self.WHERE, tr("Place"), kinds, None, True))
        self.addParameter(positive_number(self.WIDTH, tr("Width along a line (m)"), 0.2, 0.001, 100.0))
        self.addParameter(QgsProcessingParameterString(self.LEVEL, tr("Level"), optional=True))
        self.addParameter(
            QgsProcessingParameterEnum(
                self.SURFACE, tr("Surface"), list(SURFACES), False, None, True, usesStaticStrings=True
            )
        )
        self.addParameter(positive_number(self.DEPTH, tr("Depth (m)"), None, 0.001, 5.0, optional=True))
        self.addParameter(QgsProcessingParameterString(self.KNOWN_ON, tr("As known on"), optional=True))
        file_type = tr("GeoPackage (*.gpkg)")
        self.addParameter(QgsProcessingParameterFileDestination(self.OUTPUT, tr("What is known there"), file_type))
        self.addParameter(
            QgsProcessingParameterFileDestination(self.REPORT, tr("Answer"), tr("HTML files (*.html)"), optional=True)
        )
        lines, areas = QgsProcessing.SourceType.TypeVectorLine, QgsProcessing.SourceType.TypeVectorPolygon
        self.addOutput(QgsProcessingOutputVectorLayer(self.ITEMS, tr("Items"), lines))
        self.addOutput(QgsProcessingOutputVectorLayer(self.UNKNOWN, tr("Unknown ground"), areas))
        self.addOutput(QgsProcessingOutputString(self.ANSWER, tr("Answer in sentences")))
        self.addOutput(QgsProcessingOutputNumber(self.ITEM_COUNT, tr("Items")))
        self.addOutput(QgsProcessingOutputNumber(self.UNKNOWN_AREA, tr("Unknown ground (m²)")))

    def problems(self, parameters, context):
        return records.problems_of(self.parameterAsString(parameters, self.RECORD, context), must_exist=True)

    def compute(self, parameters, context, monitor):
        words = records.record_words(self.parameterAsString(parameters, self.RECORD, context))
        polygon, line = self._place(parameters, context, words)
        given = parameters.get(self.DEPTH) not in (None, "")
        question = Question(
            level=self.parameterAsString(parameters, self.LEVEL, context).strip() or None,
            surface=self.parameterAsEnumString(parameters, self.SURFACE, context) or None,
            polygon=polygon,
            line=line,
            width_m=self.parameterAsDouble(parameters, self.WIDTH, context),
            depth_m=self.parameterAsDouble(parameters, self.DEPTH, context) if given else None,
            known_on=self.parameterAsString(parameters, self.KNOWN_ON, context).strip(),
        )
        output = self.parameterAsFileOutput(parameters, self.OUTPUT, context)
        report = self.parameterAsFileOutput(parameters, self.REPORT, context) or None
        answer, sentences = query_record_step(words, question, output, report, monitor)
        return {
            self.OUTPUT: output,
            **({self.REPORT: report} if report else {}),
            self.ITEMS: table_source(output, ITEMS.name),
            self.UNKNOWN: table_source(output, UNKNOWN_LAYER),
            self.ANSWER: "\n".join(sentences),
            self.ITEM_COUNT: len(answer.items),
            self.UNKNOWN_AREA: sum(row["area_m2"] for row in answer.unknown),
        }

    def _place(self, parameters, context, words):
        """Rings of the polygon, or vertices of the line, that was given; (None, None) without one."""
        source = self.parameterAsSource(parameters, self.WHERE, context)
        if source is None:
            return None, None
        shapes = [feature.geometry() for feature in source.getFeatures() if feature.hasGeometry()]
        place = single_place(shapes, source.sourceCrs())
        return place.on_grid(site_grid(words), context.transformContext())
