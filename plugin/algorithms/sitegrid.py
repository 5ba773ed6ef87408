"""Define the coordinate system of the site grid."""

from qgis.core import (
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterCrs,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterNumber,
    QgsProcessingParameterString,
)

from ...processing.common.language import tr
from ...processing.site.crs import GridTie
from ...processing.steps.sitegrid import site_grid_step
from .base import InslabAlgorithm, not_a_survey, survey_parameter


class DefineSiteGrid(InslabAlgorithm):
    """Survey and, to tie it, a national grid with points or origin and rotation, in; the survey with its CRS out."""

    SURVEY, GRID_NAME, BASE_CRS, PAIRS = "SURVEY", "GRID_NAME", "BASE_CRS", "PAIRS"
    EAST, NORTH, ROTATION, SCALE, REPORT = "EAST", "NORTH", "ROTATION", "SCALE", "REPORT"
    CRS_WKT, FITTED_ROTATION, FITTED_SCALE = "CRS_WKT", "FITTED_ROTATION", "FITTED_SCALE"
    WORST_RESIDUAL = "WORST_RESIDUAL"

    NAME = "sitegrid"
    TITLE = tr("Define the site grid")
    GROUP = "survey"
    TAGS = tr(
        "site grid,building grid,local coordinates,national grid,CRS,projection,georeference,scale,rotation,similarity"
    )
    SUMMARY = tr(
        "Gives the site grid a coordinate system: on its own, or tied to a national grid so that maps lie under it."
    )
    DESCRIPTION = tr(
        "This algorithm assigns the coordinate system of the site grid to a survey and its rasters; coordinates "
        "never change. Without a national grid it is a local plane in metres. Once it is tied by two or more points "
        "known in both grids, or by origin, rotation and scale, QGIS places the site over any map by itself. The "
        "report states rotation, scale, the map projection's own scale there, and residuals. Keep the project's "
        "ellipsoid at None."
    )
    HELP = {
        SURVEY: tr("The GeoPackage of the survey; it is updated, and the rasters it lists as well."),
        GRID_NAME: tr("What the grid is called in QGIS."),
        BASE_CRS: tr("National or state grid, projected and in metres; left empty, the site grid stands on its own."),
        PAIRS: tr(
            "CSV table of points known in both: point_id, site_x_m, site_y_m, east_m, north_m and, if known, sigma_m."
        ),
        EAST: tr("Without a table: easting of site 0, 0, metres."),
        NORTH: tr("Without a table: northing of site 0, 0, metres."),
        ROTATION: tr("Without a table: direction of site x, degrees anticlockwise from grid east."),
        SCALE: (
            tr(
                "A length in the national grid over the same length on site. Empty: given by the points, or that of "
                "the map projection at the origin where there is no table."
            )
        ),
        REPORT: tr("Rotation, scale, residuals and the definition (HTML)."),
        CRS_WKT: tr("The coordinate system as WKT2."),
        FITTED_ROTATION: tr("Direction of site x, degrees anticlockwise from grid east; empty if not tied."),
        FITTED_SCALE: tr("A length in the national grid over that on site; empty if not tied."),
        WORST_RESIDUAL: tr("Largest distance between a point and its fitted position, metres; empty without points."),
    }
    PACKAGES = ("pyproj", "scipy", "rasterio")

    def initAlgorithm(self, configuration=None):
        self.addParameter(survey_parameter(self.SURVEY))
        self.addParameter(QgsProcessingParameterString(self.GRID_NAME, tr("Name of the grid"), "Site grid"))
        self.addParameter(QgsProcessingParameterCrs(self.BASE_CRS, tr("National grid"), optional=True))
        self.addParameter(
            QgsProcessingParameterFile(
                self.PAIRS, tr("Points known in both"), QgsProcessingParameterFile.Behavior.File, "csv", optional=True
            )
        )
        for name, label in (
            (self.EAST, tr("Easting of site 0, 0 (m)")),
            (self.NORTH, tr("Northing of site 0, 0 (m)")),
            (self.ROTATION, tr("Direction of site x (degrees)")),
            (self.SCALE, tr("Scale")),
        ):
            number = QgsProcessingParameterNumber(
                name, label, QgsProcessingParameterNumber.Type.Double, None, optional=True
            )
            number.setMetadata({"widget_wrapper": {"decimals": 8}})
            self.addParameter(number)
        self.addParameter(
            QgsProcessingParameterFileDestination(
                self.REPORT, tr("Report"), tr("HTML (*.html)"), optional=True, createByDefault=True
            )
        )
        self.addOutput(QgsProcessingOutputString(self.CRS_WKT, tr("Coordinate system")))
        self.addOutput(QgsProcessingOutputNumber(self.FITTED_ROTATION, tr("Direction of site x (degrees)")))
        self.addOutput(QgsProcessingOutputNumber(self.FITTED_SCALE, tr("Scale")))
        self.addOutput(QgsProcessingOutputNumber(self.WORST_RESIDUAL, tr("Largest residual (m)")))

    def _number(self, parameters, name, context):
        return None if parameters.get(name) is None else self.parameterAsDouble(parameters, name, context)

    def problems(self, parameters, context):
        problems = not_a_survey(self.parameterAsFile(parameters, self.SURVEY, context))
        tied = self.parameterAsCrs(parameters, self.BASE_CRS, context).isValid()
        points = self.parameterAsFile(parameters, self.PAIRS, context)
        given = [self._number(parameters, name, context) is not None for name in (self.EAST, self.NORTH, self.ROTATION)]
        scale = self._number(parameters, self.SCALE, context)
        if not tied and (points or any(given)):
            problems.append(tr("Choose the national grid that the site grid is to be tied to."))
        if tied and not points and not all(given):
            problems.append(
                tr("Enter a table of points, or easting, northing and direction of the site grid's origin.")
            )
        if points and any(given):
            problems.append(tr("Enter a table of points or an origin, not both."))
        if scale is not None and not 0.9 < scale < 1.1:
            problems.append(
                tr("The scale must be close to 1: it is a length in the national grid divided by that on site.")
            )
        return problems

    def compute(self, parameters, context, monitor):
        survey_path = self.parameterAsFile(parameters, self.SURVEY, context)
        report_path = self.parameterAsFileOutput(parameters, self.REPORT, context) or None
        crs = self.parameterAsCrs(parameters, self.BASE_CRS, context)
        base = (crs.authid() or crs.toWkt()) if crs.isValid() else None
        points = self.parameterAsFile(parameters, self.PAIRS, context) or None
        origin = None
        if base and not points:
            origin = [self._number(parameters, name, context) for name in (self.EAST, self.NORTH, self.ROTATION)]
        wkt, fit = site_grid_step(
            survey_path,
            self.parameterAsString(parameters, self.GRID_NAME, context),
            base,
            points,
            GridTie.from_degrees(*origin) if origin else None,
            self._number(parameters, self.SCALE, context),
            report_path,
            monitor,
        )
        self.show_when_done(context, survey_path)
        return {
            self.REPORT: report_path,
            self.CRS_WKT: wkt,
            self.FITTED_ROTATION: fit.rotation_deg if fit else None,
            self.FITTED_SCALE: fit.tie.scale if fit else None,
            self.WORST_RESIDUAL: fit.worst_residual_m if fit else None,
        }
