"""Fit all scan areas to the site grid in one adjustment."""

from qgis.core import (
    QgsProcessingOutputNumber,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
)

from ...processing.common.language import tr
from ...processing.site.results import FitSettings
from ...processing.steps.fitareas import fit_areas_step
from .base import InslabAlgorithm, not_a_survey, positive_number, survey_parameter


class FitAreas(InslabAlgorithm):
    """Survey in; where its areas lie, how sure that is, and how well they fit together, out."""

    SURVEY, TIES, ITEM_TIES, FREE_SCALE = "SURVEY", "TIES", "ITEM_TIES", "FREE_SCALE"
    SIGNIFICANCE, POWER, REPORT = "SIGNIFICANCE", "POWER", "REPORT"
    FITTED_COUNT, LEFT_OUT_COUNT, VARIANCE_FACTOR = "FITTED_COUNT", "LEFT_OUT_COUNT", "VARIANCE_FACTOR"
    WORST_RESIDUAL, SEAM_COUNT = "WORST_RESIDUAL", "SEAM_COUNT"

    NAME = "fitareas"
    TITLE = tr("Fit areas together")
    GROUP = "survey"
    TAGS = tr(
        "scan areas,control points,ties,adjustment,least squares,residuals,outlier,site "
        "grid,georeference,seams,concrete"
    )
    SUMMARY = tr(
        "Fits all scan areas of a survey to the site grid in one least-squares adjustment, with tests and uncertainty."
    )
    DESCRIPTION = tr(
        "This algorithm adjusts shift and rotation of all scan areas at once, from control points, ties between "
        "areas, known directions and distances taped from building lines (tables in the survey folder), and from "
        "straight items that two overlapping areas both see. An observation that disagrees with all others is named "
        "and left out, one at a time. An area without enough observations stays 'not positioned'. Areas, lines, "
        "control points, ties, error ellipses, seams and, once items have been detected, picks, items and coverage "
        "are updated; depth slices must be computed again where areas moved."
    )
    HELP = {
        SURVEY: tr("The GeoPackage that 'Read a survey' wrote; it is updated."),
        TIES: (
            tr(
                "CSV table of features seen in two areas: tie_id, area_id_a, local_x_a_m, local_y_a_m, area_id_b, "
                "local_x_b_m, local_y_b_m, sigma_m. Without it, ties.csv of the survey folder is used where there is "
                "one."
            )
        ),
        ITEM_TIES: tr(
            "Also tie areas by straight items that both see and that match unambiguously, once items have been "
            "detected."
        ),
        FREE_SCALE: (
            tr(
                "Also adjust a scale for each instrument: for a survey wheel that is out of calibration. Instruments "
                "are told apart by the column instrument of scan_areas.csv; without it, all areas share one."
            )
        ),
        SIGNIFICANCE: tr("Probability that a good observation is rejected as wrong."),
        POWER: tr("Probability of finding an error of the size called detectable."),
        REPORT: tr("Residuals, tests, smallest detectable errors, variance factor and seams (HTML)."),
        FITTED_COUNT: tr("Number of areas that have a position."),
        LEFT_OUT_COUNT: tr("Number of observations that were left out because they disagree."),
        VARIANCE_FACTOR: tr("About 1 where the stated sigmas are right; empty where nothing is checked."),
        WORST_RESIDUAL: tr("Largest distance between a used control point and its fitted position, metres."),
        SEAM_COUNT: tr("Number of items that two areas both see."),
    }
    PACKAGES = ("scipy",)

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        self.addParameter(
            QgsProcessingParameterFile(
                self.TIES, tr("Ties"), QgsProcessingParameterFile.Behavior.File, "csv", optional=True
            )
        )
        self.addParameter(QgsProcessingParameterBoolean(self.ITEM_TIES, tr("Tie areas by shared items"), True))
        self.addParameter(QgsProcessingParameterBoolean(self.FREE_SCALE, tr("Adjust instrument scale"), False))
        self.addParameter(
            positive_number(self.SIGNIFICANCE, tr("Significance of the test"), 0.001, 1e-6, 0.1, advanced=True)
        )
        self.addParameter(positive_number(self.POWER, tr("Power of the test"), 0.8, 0.5, 0.999, advanced=True))
        self.addParameter(
            QgsProcessingParameterFileDestination(
                self.REPORT, tr("Report"), tr("HTML (*.html)"), optional=True, createByDefault=True
            )
        )
        self.addOutput(QgsProcessingOutputNumber(self.FITTED_COUNT, tr("Areas with a position")))
        self.addOutput(QgsProcessingOutputNumber(self.LEFT_OUT_COUNT, tr("Observations left out")))
        self.addOutput(QgsProcessingOutputNumber(self.VARIANCE_FACTOR, tr("Variance factor")))
        self.addOutput(QgsProcessingOutputNumber(self.WORST_RESIDUAL, tr("Largest residual (m)")))
        self.addOutput(QgsProcessingOutputNumber(self.SEAM_COUNT, tr("Items seen in two areas")))

    def problems(self, parameters, context):
        return not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context))

    def compute(self, parameters, context, monitor):
        survey_path = self.parameterAsFile(parameters, self.SURVEY, context)
        report_path = self.parameterAsFileOutput(parameters, self.REPORT, context) or None
        settings = FitSettings(
            self.parameterAsDouble(parameters, self.SIGNIFICANCE, context),
            self.parameterAsDouble(parameters, self.POWER, context),
            self.parameterAsBoolean(parameters, self.FREE_SCALE, context),
        )
        result = fit_areas_step(
            survey_path,
            report_path,
            settings,
            self.parameterAsBoolean(parameters, self.ITEM_TIES, context),
            self.parameterAsFile(parameters, self.TIES, context) or None,
            monitor,
        )
        self.show_when_done(context, survey_path)
        return {
            self.REPORT: report_path,
            self.FITTED_COUNT: sum(fit.is_fitted for fit in result.found.fits.values()),
            self.LEFT_OUT_COUNT: sum(not found.used for found in result.found.site_fit.observations),
            self.VARIANCE_FACTOR: result.found.site_fit.variance_factor,
            self.WORST_RESIDUAL: result.found.worst_residual_m,
            self.SEAM_COUNT: len(result.found.seams),
        }
