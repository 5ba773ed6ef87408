"""Put a drawing on the site grid."""

from pathlib import Path

from qgis.core import (
    QgsProcessing,
    QgsProcessingContext,
    QgsProcessingOutputFile,
    QgsProcessingOutputNumber,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFile,
    QgsProcessingParameterFolderDestination,
    QgsProcessingParameterNumber,
)

from ...processing.common.errors import InslabError
from ...processing.common.language import tr
from ...processing.drawings.onto_grid import LAYERS, is_picture
from ...processing.site.drawing_fit import AFFINE, SIMILARITY, pairs_from_rows
from ...processing.steps.fitdrawing import fit_drawing_step
from ...processing.store.geopackage import read_layer
from ..styles.drawing import style_drawing
from .base import InslabAlgorithm, not_a_survey, positive_number
from .loading import LayerStyler

METHODS = (SIMILARITY, AFFINE)


class FitDrawing(InslabAlgorithm):
    """Drawing and points known in it and on site in; layers or a GeoTIFF on the site grid out."""

    DRAWING, PAIRS, METHOD, SURVEY = "DRAWING", "PAIRS", "METHOD", "SURVEY"
    PAGE, DPI, OUTPUT_FOLDER = "PAGE", "DPI", "OUTPUT_FOLDER"
    OUTPUT, REPORT, RMS_RESIDUAL = "OUTPUT", "REPORT", "RMS_RESIDUAL"

    NAME = "fitdrawing"
    TITLE = tr("Fit a drawing")
    GROUP = "survey"
    TAGS = tr("drawing,plan,DXF,CAD,PDF,scan,picture,georeference,control points,similarity,affine,site grid")
    SUMMARY = tr("Puts a DXF drawing, a picture or a PDF page on the site grid by points known in both.")
    DESCRIPTION = tr(
        "This algorithm fits a drawing to the site grid by two or more points (similarity: shift, rotation, one "
        "scale) or three or more (affine: also shear and a second scale, for paper that has stretched). DXF becomes "
        "GeoPackage layers of points, lines and areas; a picture or PDF page becomes a GeoTIFF whose pixels are "
        "unchanged. The report states residuals and, for DXF, the unit stated in the drawing and the one that the "
        "points imply. A drawing shows what was planned, not what was built."
    )
    HELP = {
        DRAWING: tr("DXF (text form), PNG, JPEG, TIFF or PDF."),
        PAIRS: (
            tr(
                "Table or point layer of points known in both. Columns: point_id; drawing_x, drawing_y (DXF) or "
                "pixel_column, pixel_row (picture; from its upper left corner, rows downwards; PDF: at the given "
                "resolution); site_x_m, site_y_m unless the layer has points on the site grid."
            )
        ),
        METHOD: tr(
            "Similarity keeps the drawing's shape. Affine also takes up stretch; it needs more points and hides "
            "errors better."
        ),
        SURVEY: tr(
            "A survey whose site grid is to be used (for its coordinate system); without one, the plain local grid."
        ),
        PAGE: tr("Page of a PDF."),
        DPI: tr(
            "Resolution at which a PDF page is drawn, dots per inch; pixel columns and rows of the points refer to it."
        ),
        OUTPUT_FOLDER: tr("Folder for the result, named after the drawing: .gpkg or .tif, and -fit.html."),
        OUTPUT: tr("The GeoPackage or GeoTIFF."),
        REPORT: tr("Scale, rotation, residuals, unit (HTML)."),
        RMS_RESIDUAL: tr("Root mean square of the residuals' lengths, metres."),
    }
    PACKAGES = ("scipy", "rasterio")

    def initAlgorithm(self, configuration=None):
        self.addParameter(QgsProcessingParameterFile(self.DRAWING, tr("Drawing")))
        self.addParameter(
            QgsProcessingParameterFeatureSource(
                self.PAIRS, tr("Points known in both"), [QgsProcessing.SourceType.TypeVector]
            )
        )
        self.addParameter(
            QgsProcessingParameterEnum(self.METHOD, tr("Method"), [tr("Similarity"), tr("Affine")], False, 0)
        )
        self.addParameter(
            QgsProcessingParameterFile(
                self.SURVEY, tr("Survey"), QgsProcessingParameterFile.Behavior.File, "gpkg", optional=True
            )
        )
        self.addParameter(
            QgsProcessingParameterNumber(
                self.PAGE, tr("Page"), QgsProcessingParameterNumber.Type.Integer, 1, False, 1, 10000
            )
        )
        self.addParameter(positive_number(self.DPI, tr("Resolution of a PDF page"), 200.0, 20.0, 2400.0, advanced=True))
        self.addParameter(QgsProcessingParameterFolderDestination(self.OUTPUT_FOLDER, tr("Output folder")))
        self.addOutput(QgsProcessingOutputFile(self.OUTPUT, tr("Drawing on the site grid")))
        self.addOutput(QgsProcessingOutputFile(self.REPORT, tr("Report")))
        self.addOutput(QgsProcessingOutputNumber(self.RMS_RESIDUAL, tr("RMS residual (m)")))

    def problems(self, parameters, context):
        drawing = self.parameterAsFile(parameters, self.DRAWING, context)
        survey = self.parameterAsFile(parameters, self.SURVEY, context)
        problems = not_a_survey(survey) if survey else []
        if not Path(drawing).is_file():
            return [*problems, tr("There is no drawing {}.").format(drawing)]
        try:
            is_picture(drawing)
        except InslabError as error:
            problems.append(str(error))
        return problems

    def compute(self, parameters, context, monitor):
        drawing = self.parameterAsFile(parameters, self.DRAWING, context)
        folder = self.parameterAsString(parameters, self.OUTPUT_FOLDER, context)
        picture = is_picture(drawing)
        source = self.parameterAsSource(parameters, self.PAIRS, context)
        names = [field.name() for field in source.fields()]
        rows = []
        for feature in source.getFeatures():
            point = feature.geometry().asPoint() if feature.hasGeometry() else None
            values = {name: None if feature[name] in (None, "") else str(feature[name]) for name in names}
            rows.append((values, None if point is None else (point.x(), point.y())))
        path, fit, _sentences = fit_drawing_step(
            drawing,
            pairs_from_rows(rows, picture),
            folder,
            METHODS[self.parameterAsEnum(parameters, self.METHOD, context)],
            self.parameterAsFile(parameters, self.SURVEY, context) or None,
            self.parameterAsInt(parameters, self.PAGE, context),
            self.parameterAsDouble(parameters, self.DPI, context),
            monitor,
        )
        self._load(context, path, picture)
        return {
            self.OUTPUT_FOLDER: folder,
            self.OUTPUT: str(path),
            self.REPORT: str(path.with_name(f"{path.stem}-fit.html")),
            self.RMS_RESIDUAL: fit.rms_m,
        }

    def _load(self, context, path, picture):
        """Have QGIS load what was written, when the run was started from its window."""
        if picture:
            details = QgsProcessingContext.LayerDetails(path.stem, context.project(), "")
            context.addLayerToLoadOnCompletion(str(path), details)
            return
        for name in LAYERS.values():
            if read_layer(path, name):
                details = QgsProcessingContext.LayerDetails(f"{path.stem}: {name}", context.project(), "")
                details.setPostProcessor(LayerStyler(style_drawing))
                context.addLayerToLoadOnCompletion(f"{path}|layername={name}", details)
