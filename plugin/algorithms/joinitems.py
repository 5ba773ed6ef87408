"""Join the items of overlapping and neighbouring areas, again."""

from qgis.core import QgsProcessingOutputNumber, QgsProcessingOutputVectorLayer

from ...processing.common.language import tr
from ...processing.steps.joinitems import join_items_step
from ...processing.store.schema import ITEMS, PICKS
from ..project.layers import table_source
from . import counts
from .base import InslabAlgorithm, not_a_survey, survey_parameter


class JoinItems(InslabAlgorithm):
    """Survey in; its layers `picks` and `items` out."""

    SURVEY, PICKS, ITEMS, FLAG_COUNT = "SURVEY", "PICKS", "ITEMS", "FLAG_COUNT"

    NAME = "joinitems"
    TITLE = tr("Join items across areas")
    GROUP = "items"
    TAGS = tr("join,merge,items,areas,overlap,seam,same object,bar,tendon,conduit,concrete")
    SUMMARY = tr("Makes one item of what several scan areas see of the same object, and flags where they disagree.")
    DESCRIPTION = tr(
        "This algorithm takes the items of each scan area as they were detected, places them by the areas' present "
        "fits and joins those that are the same object: they run in the same direction, meet or overlap, and agree "
        "in plan and in depth within their uncertainties. Where two areas disagree by more, both items stay, and the "
        "field flag of both says by how much: check these on site. Run it after editing items or picks by hand: what "
        "was left open is filled in, and what was drawn, changed or deleted is kept that way. The layers picks, "
        "items, mats and coverage of the survey are rewritten."
    )
    HELP = {
        SURVEY: tr("The survey.gpkg in which items were detected; it is updated."),
        PICKS: tr("Where each item was seen on each line."),
        ITEMS: tr(
            "The items: lines on the site grid, height of each vertex = minus the depth to the item's top, metres."
        ),
        FLAG_COUNT: tr("Number of items that carry a flag."),
        **counts.HELP,
    }

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        self.addOutput(QgsProcessingOutputVectorLayer(self.PICKS, tr("Picks")))
        self.addOutput(QgsProcessingOutputVectorLayer(self.ITEMS, tr("Items")))
        self.addOutput(QgsProcessingOutputNumber(self.FLAG_COUNT, tr("Items to check on site")))
        for output in counts.count_outputs():
            self.addOutput(output)

    def problems(self, parameters, context):
        return not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context))

    def compute(self, parameters, context, monitor):
        survey_path = self.parameterAsFile(parameters, self.SURVEY, context)
        result = join_items_step(survey_path, monitor)
        self.show_when_done(context, survey_path)
        return {
            self.PICKS: table_source(survey_path, PICKS.name),
            self.ITEMS: table_source(survey_path, ITEMS.name),
            self.FLAG_COUNT: sum(bool(item.flag) for item in result.found.items),
            **counts.count_items(result.found),
        }
