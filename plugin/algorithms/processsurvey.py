"""The whole chain: from a survey folder to depth slices, items and a report."""

import json
from pathlib import Path

from qgis.core import (
    QgsProcessingOutputFile,
    QgsProcessingOutputHtml,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterFile,
    QgsProcessingParameterFolderDestination,
)

from ...processing.common.language import tr
from ...processing.steps.processsurvey import process_survey_step
from ...processing.steps.shared.survey_run import SURVEY_FILE
from . import counts
from .base import InslabAlgorithm, in_editing, missing_table_or_folder
from .imaging import HELP as SLICE_HELP
from .imaging import SAMPLE_INTERVAL_HELP, run_settings, sample_interval_parameter, slice_parameters


class ProcessSurvey(InslabAlgorithm):
    """Survey folder in; survey.gpkg, slices, slab base and report out."""

    SURVEY_FOLDER, OUTPUT_FOLDER, SURVEY, REPORT = "SURVEY_FOLDER", "OUTPUT_FOLDER", "SURVEY", "REPORT"
    AREA_COUNT, LINE_COUNT, WARNING_COUNT = "AREA_COUNT", "LINE_COUNT", "WARNING_COUNT"
    WORST_RESIDUAL, SECONDS = "WORST_RESIDUAL", "SECONDS"

    NAME = "processsurvey"
    TITLE = tr("Process a survey")
    GROUP = "survey"
    TAGS = tr("survey,whole chain,depth slice,items,bar,rebar,tendon,conduit,report,concrete,radar,scanning")
    SUMMARY = tr("Turns a survey folder into depth slices, items on the site grid and a report, in one go.")
    DESCRIPTION = tr(
        "This algorithm reads and checks a survey folder, fits its scan areas to the site grid, estimates their wave "
        "speeds, computes depth slices, finds bars, tendons and conduits and joins them across areas. It writes "
        "survey.gpkg (areas, lines, control points, picks, items, coverage), the folders slices and base (GeoTIFF) "
        "and report.html. A file that cannot be used is named, and the rest of the survey is still processed. A "
        "cancelled or failed run leaves an earlier result untouched. What was edited by hand in the picks and items "
        "of an earlier result is kept."
    )
    HELP = {
        SURVEY_FOLDER: tr(
            "The folder that holds scan_areas.csv, scan_lines.csv, control_points.csv and the line files."
        ),
        **SLICE_HELP,
        **SAMPLE_INTERVAL_HELP,
        OUTPUT_FOLDER: tr("Folder for everything that is written; an earlier result in it is replaced at the end."),
        SURVEY: tr("The survey's GeoPackage."),
        REPORT: tr("What was read, how well the areas fit, wave speeds, items, warnings and cautions."),
        AREA_COUNT: tr("Number of scan areas that were used."),
        LINE_COUNT: tr("Number of scan lines that were used."),
        WARNING_COUNT: tr("Number of warnings, and of things left out, listed in the report."),
        WORST_RESIDUAL: tr("Largest distance between a control point and its fitted position, metres."),
        SECONDS: tr("Running time of each step in seconds, as one line of JSON."),
        **counts.HELP,
    }
    PACKAGES = ("scipy", "rasterio")

    def initAlgorithm(self, configuration=None):
        self.addParameter(
            QgsProcessingParameterFile(
                self.SURVEY_FOLDER, tr("Survey folder"), QgsProcessingParameterFile.Behavior.Folder
            )
        )
        for parameter in (*slice_parameters(), sample_interval_parameter()):
            self.addParameter(parameter)
        self.addParameter(QgsProcessingParameterFolderDestination(self.OUTPUT_FOLDER, tr("Output folder")))
        self.addOutput(QgsProcessingOutputFile(self.SURVEY, tr("Survey")))
        self.addOutput(QgsProcessingOutputHtml(self.REPORT, tr("Report")))
        self.addOutput(QgsProcessingOutputNumber(self.AREA_COUNT, tr("Scan areas")))
        self.addOutput(QgsProcessingOutputNumber(self.LINE_COUNT, tr("Scan lines")))
        self.addOutput(QgsProcessingOutputNumber(self.WARNING_COUNT, tr("Warnings")))
        self.addOutput(QgsProcessingOutputNumber(self.WORST_RESIDUAL, tr("Worst residual (m)")))
        self.addOutput(QgsProcessingOutputString(self.SECONDS, tr("Seconds of each step")))
        for output in counts.count_outputs():
            self.addOutput(output)

    def problems(self, parameters, context):
        folder = self.parameterAsFile(parameters, self.SURVEY_FOLDER, context)
        problems = missing_table_or_folder(folder)
        output = self.parameterAsString(parameters, self.OUTPUT_FOLDER, context)
        if Path(output).resolve() == Path(folder).resolve():
            problems.append(
                tr("The output folder is the survey folder {}: choose another, so that no data are replaced.").format(
                    folder
                )
            )
        return problems + in_editing(Path(output) / SURVEY_FILE)

    def compute(self, parameters, context, monitor):
        folder = self.parameterAsString(parameters, self.OUTPUT_FOLDER, context)
        result = process_survey_step(
            self.parameterAsFile(parameters, self.SURVEY_FOLDER, context),
            folder,
            run_settings(self, parameters, context),
            monitor=monitor,
        )
        self.show_when_done(context, result.survey_path)
        return {
            self.OUTPUT_FOLDER: folder,
            self.SURVEY: str(result.survey_path),
            self.REPORT: str(result.report_path),
            self.AREA_COUNT: len(result.read.survey.areas),
            self.LINE_COUNT: result.read.survey.line_count,
            self.WARNING_COUNT: len(result.found.warnings),
            self.WORST_RESIDUAL: result.found.worst_residual_m,
            self.SECONDS: json.dumps(dict(result.found.seconds)),
            **counts.count_items(result.found),
        }
