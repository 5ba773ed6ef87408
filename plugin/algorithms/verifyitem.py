"""Enter into a record what was found by opening the concrete."""

from qgis.core import (
    QgsProcessing,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingOutputVectorLayer,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFile,
    QgsProcessingParameterPoint,
    QgsProcessingParameterString,
)

from ...processing.common.language import tr
from ...processing.common.vocabulary.kinds import KINDS
from ...processing.common.vocabulary.statuses import REFUTED, VERIFIED
from ...processing.record.schema import ITEMS, METHODS
from ...processing.record.verification import DEPTH_SIGMA_M, Verification
from ...processing.steps.verifyitem import verify_item_step
from ..record import records
from .base import InslabAlgorithm, in_editing, positive_number

OUTCOMES = (VERIFIED, REFUTED)


class VerifyItem(InslabAlgorithm):
    """Record and what an opening showed in; the record out, with the depths of the whole area corrected."""

    RECORD, ITEM, OUTCOME, METHOD = "RECORD", "ITEM", "OUTCOME", "METHOD"
    VERIFIED_ON, VERIFIED_BY = "VERIFIED_ON", "VERIFIED_BY"
    DEPTH, DEPTH_SIGMA, PLACE, PLACE_SIGMA = "DEPTH", "DEPTH_SIGMA", "PLACE", "PLACE_SIGMA"
    KIND, PHOTO, NOTE = "KIND", "PHOTO", "NOTE"
    ITEMS, VERIFICATION_ID, MOVED_COUNT, AREA_COUNT = "ITEMS", "VERIFICATION_ID", "MOVED_COUNT", "AREA_COUNT"

    NAME = "verifyitem"
    TITLE = tr("Verify an item")
    GROUP = "record"
    TAGS = tr(
        "verify,verification,core,drill hole,breakout,exposure,ground truth,depth,wave speed,record,concrete,radar"
    )
    SUMMARY = tr(
        "Enters what a core, drill hole, breakout or drawing shows of an item, and corrects the depths of "
        "its whole area."
    )
    DESCRIPTION = tr(
        "This algorithm marks an item of a record as verified or refuted and keeps how, when and by whom. A depth "
        "that was measured in an opening corrects wave speed and time zero of its scan area, and with them depth and "
        "uncertainty of every item in it; the earlier values stay in the history, and what the survey stated stays "
        "with its observations. A depth beyond both uncertainties is flagged for a person to check. The survey's "
        "files are not needed: estimating the wave speed again with this as a known depth gives the same result."
    )
    HELP = {
        RECORD: records.HELP,
        ITEM: tr("item_id of the item in the record, for example I12."),
        OUTCOME: tr("Whether the item was found."),
        METHOD: tr("How it was verified. A drawing is no evidence of the wave speed."),
        VERIFIED_ON: tr("Date of the opening, for example 2031-09-01."),
        VERIFIED_BY: tr("Who verified it."),
        DEPTH: tr(
            "Measured depth from the scanned surface to the top of the item, metres; empty where it was not measured."
        ),
        DEPTH_SIGMA: tr("1-sigma of the measured depth, metres."),
        PLACE: tr("Where it was opened, on the site grid; empty: the middle of the item."),
        PLACE_SIGMA: tr(
            "1-sigma of the item's measured position, metres; empty where PLACE only says where it was opened."
        ),
        KIND: tr("The kind of object that was found; empty where that was not seen."),
        PHOTO: tr("Path of a photograph, kept as it is given."),
        NOTE: tr("Anything else, in words."),
        ITEMS: tr("The record's items."),
        VERIFICATION_ID: tr("Name of the verification in the record; empty where the record already held it."),
        MOVED_COUNT: tr("Number of items whose depths changed."),
        AREA_COUNT: tr("Number of scan areas whose wave speed changed."),
    }
    PACKAGES = ("scipy",)

    def initAlgorithm(self, configuration=None):
        self.addParameter(records.record_parameter(self.RECORD))
        self.addParameter(QgsProcessingParameterString(self.ITEM, tr("Item")))
        self.addParameter(_words(self.OUTCOME, tr("Outcome"), OUTCOMES, VERIFIED))
        self.addParameter(_words(self.METHOD, tr("How it was verified"), METHODS, METHODS[0]))
        self.addParameter(QgsProcessingParameterString(self.VERIFIED_ON, tr("Verified on")))
        self.addParameter(QgsProcessingParameterString(self.VERIFIED_BY, tr("Verified by"), optional=True))
        self.addParameter(positive_number(self.DEPTH, tr("Measured depth (m)"), None, 0.001, 5.0, optional=True))
        self.addParameter(positive_number(self.DEPTH_SIGMA, tr("Its 1-sigma (m)"), DEPTH_SIGMA_M, 0.0001, 0.5))
        self.addParameter(QgsProcessingParameterPoint(self.PLACE, tr("Place"), optional=True))
        self.addParameter(
            positive_number(
                self.PLACE_SIGMA, tr("1-sigma of the item's position (m)"), None, 0.0001, 0.5, optional=True
            )
        )
        self.addParameter(_words(self.KIND, tr("Kind found"), KINDS, None, optional=True))
        kind = QgsProcessingParameterFile.Behavior.File
        self.addParameter(QgsProcessingParameterFile(self.PHOTO, tr("Photograph"), kind, optional=True))
        self.addParameter(QgsProcessingParameterString(self.NOTE, tr("Note"), optional=True))
        lines = QgsProcessing.SourceType.TypeVectorLine
        self.addOutput(QgsProcessingOutputVectorLayer(self.ITEMS, tr("Items of the record"), lines))
        self.addOutput(QgsProcessingOutputString(self.VERIFICATION_ID, tr("Verification")))
        self.addOutput(QgsProcessingOutputNumber(self.MOVED_COUNT, tr("Items with changed depths")))
        self.addOutput(QgsProcessingOutputNumber(self.AREA_COUNT, tr("Areas with a changed wave speed")))

    def problems(self, parameters, context):
        record = self.parameterAsString(parameters, self.RECORD, context)
        return [*records.problems_of(record, must_exist=True), *in_editing(record)]

    def compute(self, parameters, context, monitor):
        words = records.record_words(self.parameterAsString(parameters, self.RECORD, context))
        depth = self._number(parameters, self.DEPTH, context)
        place = self.parameterAsPoint(parameters, self.PLACE, context) if self._given(parameters, self.PLACE) else None
        verification = Verification(
            item_id=self._text(parameters, self.ITEM, context),
            outcome=self._text(parameters, self.OUTCOME, context, self.parameterAsEnumString),
            method=self._text(parameters, self.METHOD, context, self.parameterAsEnumString),
            verified_on=self._text(parameters, self.VERIFIED_ON, context),
            verified_by=self._text(parameters, self.VERIFIED_BY, context),
            depth_m=depth,
            sigma_depth_m=None if depth is None else self._number(parameters, self.DEPTH_SIGMA, context),
            place_m=None if place is None else (place.x(), place.y()),
            sigma_xy_m=self._number(parameters, self.PLACE_SIGMA, context),
            kind=self._text(parameters, self.KIND, context, self.parameterAsEnumString) or None,
            photo=self._text(parameters, self.PHOTO, context),
            note=self._text(parameters, self.NOTE, context),
        )
        report, _changed = verify_item_step(words, verification, monitor)
        for sentence in report.warnings:
            monitor.warn(sentence)
        return {
            self.ITEMS: records.layer_source(words, ITEMS.name),
            self.VERIFICATION_ID: report.verification_id,
            self.MOVED_COUNT: len(report.items),
            self.AREA_COUNT: len(report.areas),
        }

    @staticmethod
    def _given(parameters, name) -> bool:
        return parameters.get(name) not in (None, "")

    def _number(self, parameters, name, context):
        optional = self.parameterDefinition(name).defaultValue() is None
        return (
            None
            if optional and not self._given(parameters, name)
            else self.parameterAsDouble(parameters, name, context)
        )

    def _text(self, parameters, name, context, read=None) -> str:
        return (read or self.parameterAsString)(parameters, name, context).strip()


def _words(name, label, words, default, optional=False):
    """A parameter for one word of a list; `qgis_process` takes the word itself."""
    return QgsProcessingParameterEnum(name, label, list(words), False, default, optional, usesStaticStrings=True)
