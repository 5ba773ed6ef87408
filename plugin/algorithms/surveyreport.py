"""Write the report for a client: PDF and HTML."""

from qgis.core import (
    QgsProcessingAlgorithm,
    QgsProcessingOutputNumber,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterString,
)

from ...processing.common.language import tr
from ...processing.reports.summary import Cover
from ...processing.steps.surveyreport import survey_report_step
from ..layouts.map_sheets import MapDrawer
from ..layouts.survey_report import map_png, write_report_pdf
from . import penetration_inputs as inputs
from .base import InslabAlgorithm, not_a_survey, survey_parameter


class SurveyReport(InslabAlgorithm):
    """Survey in; a report as PDF and, if wanted, as HTML out."""

    SURVEY, PENETRATIONS, LINES = "SURVEY", inputs.PENETRATIONS, "LINES"
    TITLE_TEXT, CLIENT, AUTHOR, REMARKS = "TITLE", "CLIENT", "AUTHOR", "REMARKS"
    REPORT, HTML, PAGE_COUNT = "REPORT", "HTML", "PAGE_COUNT"

    NAME = "surveyreport"
    TITLE = tr("Write a survey report")
    GROUP = "handover"
    TAGS = tr(
        "report,client,pdf,html,layout,map sheet,plan,cover,mat,item list,radargram,signature,hand over,concrete,radar"
    )
    SUMMARY = tr(
        "Writes the report for a client: plans, items, the evidence for them, what is unknown, and a place to sign."
    )
    DESCRIPTION = tr(
        "This algorithm writes a report from the content of a processed survey: a cover with the job's facts and the "
        "cautions, a plan of each level and of each scan area at a round scale with the coordinates of the site "
        "grid, all items with depth, uncertainty, kind and reasons, mats of bars, planned holes with their verdicts, "
        "chosen radargrams, how the areas were fitted and how well they agree, wave speeds and the checks on them, "
        "what counts as scanned, findings, and lines to sign. It can be read when printed without colour. Nothing is "
        "recomputed and the survey is not changed."
    )
    HELP = {
        SURVEY: tr(
            "The survey.gpkg with items and coverage that 'Process a survey' or 'Detect items' wrote, or the "
            "GeoPackage of a record with the same tables."
        ),
        TITLE_TEXT: tr("Title on the cover; left empty, the name of the survey is used."),
        CLIENT: tr("Who the report is for."),
        AUTHOR: tr("Who wrote it."),
        REMARKS: tr("What else belongs on the cover, for example the number of the job."),
        PENETRATIONS: tr(
            "The verdicts of 'Check penetrations', to be drawn and listed. Holes without a verdict are marked as "
            "not checked."
        ),
        LINES: tr(
            "Lines whose radargrams go into the report, separated by commas: A1/x05 is line x05 of area A1 with all "
            "its dipole axes, A1 means all lines of area A1. Left empty, there are none. Needs the radar data and "
            "matplotlib."
        ),
        REPORT: tr("The report (PDF, A4)."),
        HTML: tr("The same report as one page for a browser."),
        PAGE_COUNT: tr("Number of pages of the PDF."),
    }

    def flags(self):
        # A layout belongs to the main thread.
        return super().flags() | QgsProcessingAlgorithm.Flag.FlagNoThreading

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        for name, label in (
            (self.TITLE_TEXT, tr("Title")),
            (self.CLIENT, tr("Client")),
            (self.AUTHOR, tr("Report by")),
            (self.REMARKS, tr("Remarks")),
        ):
            self.addParameter(QgsProcessingParameterString(name, label, "", name == self.REMARKS, True))
        self.addParameter(inputs.penetrations_parameter(optional=True))
        self.addParameter(QgsProcessingParameterString(self.LINES, tr("Lines drawn as radargrams"), "", False, True))
        self.addParameter(QgsProcessingParameterFileDestination(self.REPORT, tr("Report"), tr("PDF (*.pdf)")))
        self.addParameter(
            QgsProcessingParameterFileDestination(
                self.HTML, tr("Report for a browser"), tr("HTML (*.html)"), None, True, False
            )
        )
        self.addOutput(QgsProcessingOutputNumber(self.PAGE_COUNT, tr("Pages")))

    def problems(self, parameters, context):
        sentences = not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context), or_record=True)
        if parameters.get(self.PENETRATIONS):
            sentences += inputs.place_problems(self, parameters, context)
        return sentences

    def compute(self, parameters, context, monitor):
        survey = self.parameterAsFile(parameters, self.SURVEY, context)
        report = self.parameterAsFileOutput(parameters, self.REPORT, context)
        page = self.parameterAsFileOutput(parameters, self.HTML, context)
        lines = self.parameterAsString(parameters, self.LINES, context)
        words = (
            self.parameterAsString(parameters, name, context) or ""
            for name in (self.TITLE_TEXT, self.CLIENT, self.AUTHOR, self.REMARKS)
        )
        holes = inputs.hole_rows(self, parameters, context)
        drawer = MapDrawer(survey, holes)
        pages = survey_report_step(
            survey,
            report,
            lambda path, paper, own: write_report_pdf(path, paper, drawer, own),
            page,
            lambda sheet: map_png(drawer, sheet, monitor),
            Cover(*words),
            holes,
            inputs.source_file(self, parameters, context) if holes else None,
            lines,
            monitor,
        )
        return {self.REPORT: report, **({self.HTML: page} if page else {}), self.PAGE_COUNT: pages}
