"""Detect items in every scan area and join them across areas."""

from qgis.core import QgsProcessingOutputVectorLayer

from ...processing.common.language import tr
from ...processing.common.vocabulary.kinds import KINDS
from ...processing.steps.detectitems import detect_items_step
from ...processing.store.schema import ITEMS, PICKS
from ..project.layers import table_source
from . import counts
from .base import InslabAlgorithm, not_a_survey, survey_parameter


class DetectItems(InslabAlgorithm):
    """Survey in; its layers `picks` and `items` out."""

    SURVEY, PICKS, ITEMS = "SURVEY", "PICKS", "ITEMS"

    NAME = "detectitems"
    TITLE = tr("Detect items")
    GROUP = "items"
    TAGS = tr("detect,items,bar,rebar,reinforcement,tendon,conduit,cable,pick,target,concrete,radar")
    SUMMARY = tr("Finds bars, tendons and conduits in all scan areas, with depth, kind and uncertainty.")
    DESCRIPTION = tr(
        "This algorithm finds what is cast in: echoes that continue across many lines become items, polylines on the "
        "site grid with the depth to their top, a kind ({kinds}), a "
        "confidence and the 1-sigma of position and depth. An object seen in several areas becomes one item. The "
        "layers picks, items and coverage of the survey are rewritten; what a surveyor drew, changed or deleted in "
        "picks and items is kept that way.",
        kinds=", ".join(kind.word for kind in KINDS.values()),
    )
    HELP = {
        SURVEY: tr("The GeoPackage that 'Read a survey' wrote. Its wave speeds are used; missing ones are estimated."),
        PICKS: tr("Where each item was seen on each line."),
        ITEMS: tr(
            "The items: lines on the site grid, height of each vertex = minus the depth to the item's top, metres."
        ),
        **counts.HELP,
    }
    PACKAGES = ("scipy",)

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        self.addOutput(QgsProcessingOutputVectorLayer(self.PICKS, tr("Picks")))
        self.addOutput(QgsProcessingOutputVectorLayer(self.ITEMS, tr("Items")))
        for output in counts.count_outputs():
            self.addOutput(output)

    def problems(self, parameters, context):
        return not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context))

    def compute(self, parameters, context, monitor):
        survey_path = self.parameterAsFile(parameters, self.SURVEY, context)
        result = detect_items_step(survey_path, monitor=monitor)
        self.show_when_done(context, survey_path)
        return {
            self.PICKS: table_source(survey_path, PICKS.name),
            self.ITEMS: table_source(survey_path, ITEMS.name),
            **counts.count_items(result.found),
        }
