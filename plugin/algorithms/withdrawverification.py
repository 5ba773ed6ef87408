"""Take back a verification that was entered into a record by mistake."""

from qgis.core import (
    QgsProcessing,
    QgsProcessingOutputNumber,
    QgsProcessingOutputVectorLayer,
    QgsProcessingParameterString,
)

from ...processing.common.language import tr
from ...processing.record.schema import ITEMS
from ...processing.steps.withdrawverification import withdraw_verification_step
from ..record import records
from .base import InslabAlgorithm, in_editing


class WithdrawVerification(InslabAlgorithm):
    """Record and name of a verification in; the record out, as if it had never been entered, and with both in its history."""

    RECORD, VERIFICATION, WHY = "RECORD", "VERIFICATION", "WHY"
    WITHDRAWN_ON, WITHDRAWN_BY = "WITHDRAWN_ON", "WITHDRAWN_BY"
    ITEMS, MOVED_COUNT, AREA_COUNT = "ITEMS", "MOVED_COUNT", "AREA_COUNT"

    NAME = "withdrawverification"
    TITLE = tr("Withdraw a verification")
    GROUP = "record"
    TAGS = tr("withdraw,undo,take back,mistake,wrong item,verification,core,depth,wave speed,record")
    SUMMARY = tr(
        "Takes back a verification that was entered by mistake: status, kind, depths and wave speed become what they "
        "would be without it."
    )
    DESCRIPTION = tr(
        "Use this algorithm where the wrong item was named, or a wrong depth entered. The verification stays in the "
        "record, marked as withdrawn, with who, when and why in its note; it no longer has any effect. What the "
        "record stated in the meantime stays in its history: ask the record as known on a day in between. Then enter "
        "what was really found as a new verification."
    )
    HELP = {
        RECORD: records.HELP,
        VERIFICATION: tr("verification_id in the record's layer verifications, for example V3."),
        WITHDRAWN_ON: tr("Date of the withdrawal, for example 2031-09-02."),
        WITHDRAWN_BY: tr("Who withdraws it."),
        WHY: tr("What was wrong, in words; the record keeps it."),
        ITEMS: tr("The record's items."),
        MOVED_COUNT: tr("Number of items whose depths changed."),
        AREA_COUNT: tr("Number of scan areas whose wave speed changed."),
    }
    PACKAGES = ("scipy",)

    def initAlgorithm(self, configuration=None):
        self.addParameter(records.record_parameter(self.RECORD))
        self.addParameter(QgsProcessingParameterString(self.VERIFICATION, tr("Verification")))
        self.addParameter(QgsProcessingParameterString(self.WITHDRAWN_ON, tr("Withdrawn on")))
        self.addParameter(QgsProcessingParameterString(self.WHY, tr("Why")))
        self.addParameter(QgsProcessingParameterString(self.WITHDRAWN_BY, tr("Withdrawn by"), optional=True))
        lines = QgsProcessing.SourceType.TypeVectorLine
        self.addOutput(QgsProcessingOutputVectorLayer(self.ITEMS, tr("Items of the record"), lines))
        self.addOutput(QgsProcessingOutputNumber(self.MOVED_COUNT, tr("Items with changed depths")))
        self.addOutput(QgsProcessingOutputNumber(self.AREA_COUNT, tr("Areas with a changed wave speed")))

    def problems(self, parameters, context):
        record = self.parameterAsString(parameters, self.RECORD, context)
        return [*records.problems_of(record, must_exist=True), *in_editing(record)]

    def compute(self, parameters, context, monitor):
        words = records.record_words(self.parameterAsString(parameters, self.RECORD, context))
        given = (self.VERIFICATION, self.WITHDRAWN_ON, self.WHY, self.WITHDRAWN_BY)
        report, _ = withdraw_verification_step(
            words, *(self.parameterAsString(parameters, name, context).strip() for name in given), monitor
        )
        return {
            self.ITEMS: records.layer_source(words, ITEMS.name),
            self.MOVED_COUNT: len(report.items),
            self.AREA_COUNT: len(report.areas),
        }
