"""Check planned penetrations against items and against what was scanned."""

from pathlib import Path

from qgis.core import (
    QgsProcessingOutputNumber,
    QgsProcessingParameterFolderDestination,
    QgsProcessingParameterVectorDestination,
)

from ...processing.common.errors import ProcessingError
from ...processing.common.language import tr
from ...processing.common.vocabulary.steps import CHECK_PENETRATIONS
from ...processing.common.vocabulary.verdicts import CLEAR, HITS, TOO_CLOSE, UNKNOWN, VERDICTS
from ...processing.steps.checkpenetrations import check_penetrations_step, count_verdicts
from ...processing.steps.shared.survey_state import file_parameters, note_step, result_parameters
from ...processing.store.schema import PENETRATION_VERDICTS
from ..project.layers import table_source
from ..styles.penetrations import style_verdicts
from . import penetration_inputs as inputs
from .base import InslabAlgorithm, not_a_survey, survey_parameter
from .loading import style_when_loaded


class CheckPenetrations(InslabAlgorithm):
    """Survey and planned holes in; a verdict for each hole out."""

    SURVEY, PENETRATIONS, OUTPUT, SECTIONS = "SURVEY", inputs.PENETRATIONS, "OUTPUT", "SECTIONS"
    COUNTS = {verdict: f"{verdict.upper()}_COUNT" for verdict in VERDICTS}

    NAME = "checkpenetrations"
    TITLE = tr("Check penetrations")
    GROUP = "penetrations"
    TAGS = tr("penetration,core,coring,drilling,anchor,hole,keep-out,clearance,margin,hit,clear,unknown,concrete,radar")
    SUMMARY = tr("Says for each planned hole whether it is clear, too close, hits an item or touches unknown ground.")
    DESCRIPTION = tr(
        "This algorithm compares planned holes with the items of a survey and with what was scanned. Each hole gets "
        "a verdict, the item that leaves the least room, the margin to it (distance to its surface less the keep-out "
        "distance) with its 1-sigma, the probability of touching any known item, and the reason in one sentence. A "
        "hole is 'clear' only where every keep-out distance is satisfied with the required confidence, the "
        "probability of touching is small, and the ground was scanned in both directions, deep enough, and not below "
        "a dense mat. A hole that touches anything unknown is 'unknown', whatever else is near it; margin and "
        "probability are still given for the known items."
    )
    HELP = {
        SURVEY: tr("The survey.gpkg with items and coverage that 'Process a survey' or 'Detect items' wrote."),
        **inputs.HELP,
        OUTPUT: tr(
            "GeoPackage that gets the layer {layer}; other layers in it are kept.", layer=PENETRATION_VERDICTS.name
        ),
        SECTIONS: tr("Folder that gets a vertical section through each hole (SVG); without it none is drawn."),
        COUNTS[CLEAR]: tr("Number of penetrations that are clear."),
        COUNTS[TOO_CLOSE]: tr("Number of penetrations that are too close to an item."),
        COUNTS[HITS]: tr("Number of penetrations that hit an item."),
        COUNTS[UNKNOWN]: tr("Number of penetrations that touch unknown ground."),
    }
    PACKAGES = ("scipy", "rasterio")

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        self.addParameter(inputs.penetrations_parameter())
        for parameter in (*inputs.place_parameters(), *inputs.rule_parameters(), *inputs.confidence_parameters()):
            self.addParameter(parameter)
        self.addParameter(QgsProcessingParameterVectorDestination(self.OUTPUT, tr("Verdicts")))
        self.addParameter(
            QgsProcessingParameterFolderDestination(self.SECTIONS, tr("Sections"), optional=True, createByDefault=False)
        )
        for verdict, name in self.COUNTS.items():
            self.addOutput(
                QgsProcessingOutputNumber(name, tr("Penetrations: {verdict}", verdict=VERDICTS[verdict].title))
            )

    def problems(self, parameters, context):
        return [
            *not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context)),
            *inputs.column_problems(self, parameters, context),
            *inputs.rule_problems(self, parameters, context),
        ]

    def compute(self, parameters, context, monitor):
        table = inputs.HoleTable(self, parameters, context)
        destination = self.parameterAsOutputLayer(parameters, self.OUTPUT, context)
        output = inputs.geopackage_of(destination)
        sections = self.parameterAsString(parameters, self.SECTIONS, context) or None
        survey_path = self.parameterAsFile(parameters, self.SURVEY, context)
        planned = inputs.source_file(self, parameters, context)
        if (
            planned
            and PENETRATION_VERDICTS.verdict in table.fields
            and Path(planned).resolve() == Path(output).resolve()
        ):
            raise ProcessingError(
                tr(
                    "These penetrations are the verdicts of an earlier check, which this run would replace; choose the layer "
                    "of the planned penetrations."
                )
            )
        noted = file_parameters(planned) if planned else {}  # as it was when it was read
        verdicts = check_penetrations_step(
            survey_path,
            table.holes,
            table.sides,
            table.rows,
            table.fields,
            output,
            inputs.read_rules(self, parameters, context),
            inputs.read_confidence(self, parameters, context),
            sections,
            monitor,
        )
        note_step(survey_path, CHECK_PENETRATIONS, {**noted, **result_parameters(survey_path, output)}, monitor)
        counts = count_verdicts(verdicts)
        monitor.log(", ".join(f"{number} {VERDICTS[verdict].word}" for verdict, number in counts.items()) + ".")
        style_when_loaded(context, destination, tr("Verdicts on penetrations"), style_verdicts)
        found = {name: counts.get(verdict, 0) for verdict, name in self.COUNTS.items()}
        shown = {self.SECTIONS: sections} if sections else {}
        return {self.OUTPUT: table_source(output, PENETRATION_VERDICTS.name), **shown, **found}
