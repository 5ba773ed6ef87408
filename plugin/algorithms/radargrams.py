"""Draw radargrams: one picture a line and dipole axis, with picks and items in it."""

from qgis.core import (
    QgsProcessingOutputNumber,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFolderDestination,
    QgsProcessingParameterString,
)

from ...processing.common.language import tr
from ...processing.steps.radargrams import radargrams_step
from ...processing.views.radargrams import PANELS
from .base import InslabAlgorithm, not_a_survey, survey_parameter


class DrawRadargrams(InslabAlgorithm):
    """Survey in; a folder of PNG pictures out."""

    SURVEY, LINES, PANELS = "SURVEY", "LINES", "PANELS"
    OUTPUT_FOLDER, PICTURE_COUNT = "OUTPUT_FOLDER", "PICTURE_COUNT"

    NAME = "radargrams"
    TITLE = tr("Draw radargrams")
    GROUP = "depth"
    TAGS = tr("radargram,line,profile,picture,png,hyperbola,pick,migration,before after,concrete,radar")
    SUMMARY = tr("Draws each scan line as a picture, as recorded and processed, with picks and items in it.")
    DESCRIPTION = tr(
        "This algorithm draws scan lines as pictures: distance along the line to the right, time after time zero "
        "downwards with the depth beside it. As recorded, processed and migrated are shown side by side, so that the "
        "effect of each step can be seen. Processed means: direct wave and flat layers removed, band-pass filtered, "
        "and one gain for the whole line from spreading and the attenuation found in the data. Items of the survey "
        "are marked where they cross the line, with the curve that their echoes should follow at the estimated wave "
        "speed: where echo and curve diverge, the speed or the item is in doubt. The survey is not changed."
    )
    HELP = {
        SURVEY: tr(
            "The GeoPackage that 'Read a survey' wrote. Its wave speeds are used (missing ones are estimated), "
            "and its picks and items are drawn if there are any."
        ),
        LINES: tr(
            "Lines to draw, separated by commas: A1/x05 is line x05 of area A1 with all its dipole axes, A1 means "
            "all lines of area A1. Left empty, all lines are drawn."
        ),
        PANELS: tr("What is drawn side by side: raw (as recorded), processed, migrated (in depth)."),
        OUTPUT_FOLDER: tr("Folder that gets the pictures, named by area, line and dipole axis."),
        PICTURE_COUNT: tr("Number of pictures drawn."),
    }
    PACKAGES = ("scipy", "matplotlib")

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        self.addParameter(QgsProcessingParameterString(self.LINES, tr("Lines"), "", False, True))
        self.addParameter(
            QgsProcessingParameterEnum(
                self.PANELS, tr("Side by side"), list(PANELS), True, ["raw", "processed"], False, True
            )
        )
        self.addParameter(QgsProcessingParameterFolderDestination(self.OUTPUT_FOLDER, tr("Output folder")))
        self.addOutput(QgsProcessingOutputNumber(self.PICTURE_COUNT, tr("Pictures")))

    def problems(self, parameters, context):
        sentences = not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context))
        if not self.parameterAsEnumStrings(parameters, self.PANELS, context):
            sentences.append(tr("There is nothing to draw: choose at least one of raw, processed and migrated."))
        return sentences

    def compute(self, parameters, context, monitor):
        folder = self.parameterAsString(parameters, self.OUTPUT_FOLDER, context)
        chosen = self.parameterAsEnumStrings(parameters, self.PANELS, context)
        pictures = radargrams_step(
            self.parameterAsFile(parameters, self.SURVEY, context),
            folder,
            self.parameterAsString(parameters, self.LINES, context) or "",
            [panel for panel in PANELS if panel in chosen],
            monitor,
        )
        monitor.log(tr("{} pictures were drawn.").format(len(pictures)))
        return {self.OUTPUT_FOLDER: folder, self.PICTURE_COUNT: len(pictures)}
