"""Merge a processed survey into the record of its building."""

from pathlib import Path

from qgis.core import (
    QgsProcessing,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingOutputVectorLayer,
    QgsProcessingParameterFile,
    QgsProcessingParameterString,
)

from ...processing.common.language import tr
from ...processing.record.schema import ITEMS
from ...processing.steps.updaterecord import update_record_step
from ..record import records
from .base import InslabAlgorithm, in_editing, not_a_survey, survey_parameter


class UpdateRecord(InslabAlgorithm):
    """Survey in; the record, made or updated."""

    SURVEY, RECORD, PENETRATIONS = "SURVEY", "RECORD", "PENETRATIONS"
    RECORDED_ON, RECORDED_BY = "RECORDED_ON", "RECORDED_BY"
    SURVEY_ID, ITEMS, CHANGE_COUNT = "SURVEY_ID", "ITEMS", "CHANGE_COUNT"
    NEW_COUNT, KNOWN_COUNT, FLAG_COUNT = "NEW_COUNT", "KNOWN_COUNT", "FLAG_COUNT"

    NAME = "updaterecord"
    TITLE = tr("Update the record")
    GROUP = "record"
    TAGS = tr("record,building,history,merge,survey,as-built,database,PostGIS,GeoPackage,facility,concrete,radar")
    SUMMARY = tr(
        "Merges a processed survey into the record of a building: one item for each real object, with its "
        "whole history."
    )
    DESCRIPTION = tr(
        "This algorithm adds what a survey found to the record of its building, which is created where there is "
        "none. An object that the record knows (same place, direction and depth within joint uncertainty) gets a "
        "further observation and becomes more certain; contradictions are flagged, in words, for a person to check. "
        "Nothing is deleted because a new survey did not see it: it is noted as not seen where the survey reached "
        "its depth. The same survey again changes nothing; a survey that was processed again replaces its own "
        "observations. Every change stays in the record's history, and a run is completed or changes nothing."
    )
    HELP = {
        SURVEY: tr("The survey.gpkg with items and coverage that 'Process a survey' or 'Detect items' wrote."),
        RECORD: records.HELP + tr(" It is created if it does not exist."),
        PENETRATIONS: tr(
            "A GeoPackage that 'Check penetrations' wrote, to be recorded with the survey; may be left empty."
        ),
        RECORDED_ON: (
            tr(
                "Date from which the record knows it, for example 2031-05-04. Empty: the date of the survey's latest "
                "scan, or of the record's latest change where that is later."
            )
        ),
        RECORDED_BY: tr("Who records it, for the history."),
        SURVEY_ID: tr("Name of the survey in the record."),
        ITEMS: tr("The record's items."),
        NEW_COUNT: tr("Number of items that the record did not know."),
        KNOWN_COUNT: tr("Number of items that it knew and that were seen again."),
        FLAG_COUNT: tr("Number of the survey's items that a person must check."),
        CHANGE_COUNT: tr("Number of rows that changed; 0 where the record already held exactly this."),
    }

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        self.addParameter(records.record_parameter(self.RECORD))
        kind = QgsProcessingParameterFile.Behavior.File
        self.addParameter(
            QgsProcessingParameterFile(self.PENETRATIONS, tr("Checked penetrations"), kind, "gpkg", optional=True)
        )
        self.addParameter(QgsProcessingParameterString(self.RECORDED_ON, tr("Recorded on"), optional=True))
        self.addParameter(QgsProcessingParameterString(self.RECORDED_BY, tr("Recorded by"), optional=True))
        self.addOutput(QgsProcessingOutputString(self.SURVEY_ID, tr("Survey")))
        kind = QgsProcessing.SourceType.TypeVectorLine
        self.addOutput(QgsProcessingOutputVectorLayer(self.ITEMS, tr("Items of the record"), kind))
        self.addOutput(QgsProcessingOutputNumber(self.NEW_COUNT, tr("New items")))
        self.addOutput(QgsProcessingOutputNumber(self.KNOWN_COUNT, tr("Items seen again")))
        self.addOutput(QgsProcessingOutputNumber(self.FLAG_COUNT, tr("Items to check on site")))
        self.addOutput(QgsProcessingOutputNumber(self.CHANGE_COUNT, tr("Rows changed")))

    def problems(self, parameters, context):
        record = self.parameterAsString(parameters, self.RECORD, context)
        penetrations = self.parameterAsString(parameters, self.PENETRATIONS, context)
        missing = penetrations and not Path(penetrations).is_file()
        return [
            *not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context)),
            *records.problems_of(record, must_exist=False),
            *in_editing(record),
            *([tr("There is no file {path}.", path=penetrations)] if missing else []),
        ]

    def compute(self, parameters, context, monitor):
        words = records.record_words(self.parameterAsString(parameters, self.RECORD, context))
        report, changed = update_record_step(
            self.parameterAsFile(parameters, self.SURVEY, context),
            words,
            self.parameterAsString(parameters, self.RECORDED_ON, context).strip(),
            self.parameterAsString(parameters, self.RECORDED_BY, context).strip(),
            self.parameterAsString(parameters, self.PENETRATIONS, context) or None,
            monitor,
        )
        return {
            self.SURVEY_ID: report.survey_id,
            self.ITEMS: records.layer_source(words, ITEMS.name),
            self.NEW_COUNT: len(report.new_items),
            self.KNOWN_COUNT: len(report.known_items),
            self.FLAG_COUNT: len(report.flagged),
            self.CHANGE_COUNT: sum(changed.counts.values()),
        }
