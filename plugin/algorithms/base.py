"""What all Inslab algorithms share: names, help, errors as sentences, progress and cancelling."""

import importlib.util
from pathlib import Path

from qgis.core import (
    QgsApplication,
    QgsProcessingAlgorithm,
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingParameterDefinition,
    QgsProcessingParameterFile,
    QgsProcessingParameterNumber,
    QgsProcessingUtils,
    QgsProject,
)
from qgis.PyQt.QtGui import QIcon

from ...processing.common import cautions
from ...processing.common.errors import Cancelled, sentence_on
from ...processing.common.language import tr
from ...processing.common.monitor import Monitor
from ...processing.common.packages import missing_packages, packages
from ...processing.record.open_store import is_record
from ...processing.survey.tables import AREAS_FILE, LINES_FILE
from ..help import page_url
from ..project.layers import LOG_TABLE, PLAIN_TABLES, ResultLoader, table_source

ICONS = Path(__file__).parent.parent / "icons"
GROUPS = {
    "survey": tr("Survey"),
    "depth": tr("Depth slices"),
    "items": tr("Items"),
    "penetrations": tr("Penetrations"),
    "record": tr("Record"),
    "handover": tr("Handover"),
}


def monitor_of(feedback) -> Monitor:
    """The plain callables of `processing`, tied to a QgsProcessingFeedback."""
    return Monitor(
        progress=lambda fraction: feedback.setProgress(100.0 * fraction),
        log=feedback.pushInfo,
        warn=feedback.pushWarning,
        cancelled=feedback.isCanceled,
    )


class InslabAlgorithm(QgsProcessingAlgorithm):
    """Base of all algorithms; a subclass gives the texts below, `initAlgorithm` and `compute`.

    Attributes
    ----------
    NAME, TITLE, GROUP, TAGS : str
        Id (never changes after release), name on screen, key of `GROUPS`, comma-separated search words.
    SUMMARY, DESCRIPTION : str
        One sentence; what happens, in a paragraph.
    HELP : dict
        One text for each parameter and each output.
    PACKAGES : tuple of str
        Python packages that it needs beyond those QGIS brings.
    """

    NAME = TITLE = GROUP = TAGS = SUMMARY = DESCRIPTION = ""
    HELP = {}
    PACKAGES = ()

    def compute(self, parameters, context, monitor):
        """Do the work and return the outputs; raises `InslabError` with a sentence for the user."""
        raise NotImplementedError

    def createInstance(self):
        return type(self)()

    def name(self):
        return self.NAME

    def displayName(self):
        return self.TITLE

    def groupId(self):
        return self.GROUP

    def group(self):
        return GROUPS[self.GROUP]

    def tags(self):
        return [tag.strip() for tag in self.TAGS.split(",")]

    def shortDescription(self):
        return self.SUMMARY

    def shortHelpString(self):
        texts = {"ALG_DESC": f"{self.DESCRIPTION}\n\n{cautions.SHORT}"}
        texts.update(self.HELP)
        if QgsApplication.platform() == "qgis_process":  # a terminal shows the tags of HTML
            lines = [f"{name}: {text}" for name, text in texts.items() if name != "ALG_DESC"]
            return "\n".join([texts["ALG_DESC"], "", *lines])
        return QgsProcessingUtils.formatHelpMapAsHtml(texts, self)

    def helpUrl(self):
        return page_url(self.NAME).toString()

    def icon(self):
        return QIcon(self.svgIconPath())

    def svgIconPath(self):
        return str(ICONS / f"{self.NAME}.svg")

    def canExecute(self):
        missing = [package for package in self.PACKAGES if importlib.util.find_spec(package) is None]
        if not missing:
            return True, ""
        return False, str(missing_packages(*missing))

    def problems(self, parameters, context):
        """Sentences that say which values cannot be used; empty if all can."""
        return []

    def checkParameterValues(self, parameters, context):
        usable, sentence = super().checkParameterValues(parameters, context)
        problems = self.problems(parameters, context) if usable else [sentence]
        return not problems, "\n".join(problems)

    def addParameter(self, definition, createOutput=True):
        """Add a parameter with its help as a tooltip."""
        definition.setHelp(self.HELP[definition.name()])
        return super().addParameter(definition, createOutput)

    def show_when_done(self, context, survey_path):
        """Have QGIS load the result, styled and in groups, when the run was started from its window."""
        details = QgsProcessingContext.LayerDetails(PLAIN_TABLES[LOG_TABLE], context.project(), "")
        details.setPostProcessor(ResultLoader(survey_path))
        context.addLayerToLoadOnCompletion(table_source(survey_path, LOG_TABLE), details)

    def processAlgorithm(self, parameters, context, feedback):
        possible, sentence = self.canExecute()  # which qgis_process does not ask
        if not possible:
            raise QgsProcessingException(sentence)
        try:
            with packages():
                return self.compute(parameters, context, monitor_of(feedback))
        except Cancelled as stop:
            feedback.pushInfo(str(stop))
            return {}
        except Exception as error:
            sentence = sentence_on(
                error,
                memory=tr(
                    "There is not enough memory: choose a larger cell size, a larger depth step or a smaller maximum depth."
                ),
                file=tr("A file cannot be read or written: {reason}."),
                internal=tr(
                    "Internal error ({kind}: {reason}); earlier results are unchanged. Please report it with the log above."
                ),
                log=feedback.pushDebugInfo,
            )
            raise QgsProcessingException(sentence) from error


def missing_table_or_folder(folder: str) -> list:
    """Sentences on a survey folder that cannot be read at all."""
    if not Path(folder).is_dir():
        return [tr("The survey folder {} does not exist: choose the folder with the survey's tables.").format(folder)]
    missing = [name for name in (AREAS_FILE, LINES_FILE) if not (Path(folder) / name).is_file()]
    return [tr("The survey folder {} has no {}.").format(folder, tr(" and no ").join(missing))] if missing else []


def not_a_survey(path: str, or_record: bool = False) -> list:
    """Sentences on a file that is not the GeoPackage of a survey (`or_record`: or of a record), or has unsaved changes."""
    if not Path(path).is_file():
        return [tr("There is no file {}: choose the survey.gpkg that 'Read a survey' wrote.").format(path)]
    with Path(path).open("rb") as file:
        if file.read(15) != b"SQLite format 3":  # every GeoPackage starts so (OGC 12-128r18, requirement 1)
            return [tr("{} is not a GeoPackage: choose the survey.gpkg that 'Read a survey' wrote.").format(path)]
    if not or_record and is_record(path):
        return [tr("{file} is a record, not a survey: choose the survey.gpkg that 'Read a survey' wrote.", file=path)]
    return in_editing(path)


def in_editing(path) -> list:
    """Sentences on a GeoPackage of which a layer is being edited in the project.

    A run writes all rows anew: changes saved after it would hit others than those that were meant.
    """
    names = [
        layer.name()
        for layer in QgsProject.instance().mapLayers().values()
        if layer.isEditable() and Path(layer.source().split("|")[0]).resolve() == Path(path).resolve()
    ]
    if not names:
        return []
    return [
        tr("Save the changes to {} and stop editing: they are not in the file yet.").format(", ".join(sorted(names)))
    ]


def survey_parameter(name):
    """The parameter for a survey that was read before."""
    return QgsProcessingParameterFile(name, tr("Survey"), QgsProcessingParameterFile.Behavior.File, "gpkg")


def positive_number(name, label, default, smallest, largest, optional=False, advanced=False):
    """A parameter for one number with its bounds."""
    parameter = QgsProcessingParameterNumber(
        name, label, QgsProcessingParameterNumber.Type.Double, default, optional, smallest, largest
    )
    parameter.setMetadata({"widget_wrapper": {"decimals": 4}})
    if advanced:
        parameter.setFlags(parameter.flags() | QgsProcessingParameterDefinition.Flag.FlagAdvanced)
    return parameter
