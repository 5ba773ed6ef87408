"""Read and check a survey folder."""

from qgis.core import (
    QgsProcessingOutputNumber,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
)

from ...processing.common.language import tr
from ...processing.steps.readsurvey import read_survey_step
from .base import InslabAlgorithm, in_editing, missing_table_or_folder
from .imaging import SAMPLE_INTERVAL_HELP, run_settings, sample_interval_parameter


class ReadSurvey(InslabAlgorithm):
    """Survey folder in; GeoPackage with areas, lines and control points, and a report out."""

    SURVEY_FOLDER, SURVEY, REPORT = "SURVEY_FOLDER", "SURVEY", "REPORT"
    AREA_COUNT, LINE_COUNT, FINDING_COUNT = "AREA_COUNT", "LINE_COUNT", "FINDING_COUNT"

    NAME = "readsurvey"
    TITLE = tr("Read a survey")
    GROUP = "survey"
    TAGS = tr("survey,read,check,import,SEG-Y,scan lines,scan areas,control points,concrete,radar")
    SUMMARY = tr("Reads and checks a survey folder and places its scan areas on the site grid.")
    DESCRIPTION = tr(
        "This algorithm reads the tables of a survey folder (scan_areas.csv, scan_lines.csv, "
        "control_points.csv) and the header of every line file, fits each scan area to the site grid by its "
        "control points, and writes areas, lines and control points into one GeoPackage. What cannot be used "
        "is left out and named in the report; the rest of the survey goes on."
    )
    HELP = {
        SURVEY_FOLDER: tr("The folder that holds the three tables and the line files."),
        **SAMPLE_INTERVAL_HELP,
        SURVEY: tr("GeoPackage of the survey; an existing file is replaced."),
        REPORT: tr("What was read, what was left out and why, and how well each area fits (HTML)."),
        AREA_COUNT: tr("Number of scan areas that can be used."),
        LINE_COUNT: tr("Number of scan lines that can be used."),
        FINDING_COUNT: tr("Number of findings in the report."),
    }
    PACKAGES = ("scipy",)

    def initAlgorithm(self, configuration=None):
        self.addParameter(
            QgsProcessingParameterFile(
                self.SURVEY_FOLDER, tr("Survey folder"), QgsProcessingParameterFile.Behavior.Folder
            )
        )
        self.addParameter(sample_interval_parameter())
        self.addParameter(QgsProcessingParameterFileDestination(self.SURVEY, tr("Survey"), tr("GeoPackage (*.gpkg)")))
        self.addParameter(
            QgsProcessingParameterFileDestination(
                self.REPORT, tr("Report"), tr("HTML (*.html)"), optional=True, createByDefault=True
            )
        )
        self.addOutput(QgsProcessingOutputNumber(self.AREA_COUNT, tr("Scan areas")))
        self.addOutput(QgsProcessingOutputNumber(self.LINE_COUNT, tr("Scan lines")))
        self.addOutput(QgsProcessingOutputNumber(self.FINDING_COUNT, tr("Findings")))

    def problems(self, parameters, context):
        problems = missing_table_or_folder(self.parameterAsFile(parameters, self.SURVEY_FOLDER, context))
        return problems + in_editing(self.parameterAsString(parameters, self.SURVEY, context))

    def compute(self, parameters, context, monitor):
        survey_path = self.parameterAsFileOutput(parameters, self.SURVEY, context)
        report_path = self.parameterAsFileOutput(parameters, self.REPORT, context) or None
        result = read_survey_step(
            self.parameterAsFile(parameters, self.SURVEY_FOLDER, context),
            survey_path,
            report_path,
            run_settings(self, parameters, context),
            monitor,
        )
        self.show_when_done(context, survey_path)
        return {
            self.SURVEY: survey_path,
            self.REPORT: report_path,
            self.AREA_COUNT: len(result.read.survey.areas),
            self.LINE_COUNT: result.read.survey.line_count,
            self.FINDING_COUNT: len(result.found.findings),
        }
