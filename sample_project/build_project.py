"""Write the QGIS project of the sample: build_project.py WORK_FOLDER

The work folder holds `survey` (made by make_sample.py) and `result` (made by inslab:processsurvey); the project is written
beside them as inslab-sample.qgz, with relative paths, so that the folder can be moved.
"""

import sys
import textwrap
from pathlib import Path

from make_sample import load_inslab
from qgis.core import (
    QgsApplication,
    QgsLineSymbol,
    QgsMarkerSymbol,
    QgsPalLayerSettings,
    QgsProject,
    QgsReadWriteContext,
    QgsRectangle,
    QgsReferencedRectangle,
    QgsSingleSymbolRenderer,
    QgsVectorFileWriter,
    QgsVectorLayer,
    QgsVectorLayerSimpleLabeling,
)
from qgis.PyQt.QtCore import QUrl
from qgis.PyQt.QtXml import QDomDocument

# Numbers that QGIS gives the corners for what it writes on the map canvas.
BOTTOM_LEFT, TOP_CENTRE = 0, 4
PLANNED = "Planned penetrations (not checked)"
TITLE = "Sample job: an invented floor with simulated radar data"


def build(work: Path) -> Path:
    """Write the project and return its path; raises `RuntimeError` if QGIS cannot."""
    from inslab.plugin.project.layers import show_result

    survey, result = work / "survey", work / "result" / "survey.gpkg"
    project = QgsProject.instance()
    show_result(project, result)
    show_penetrations(project, survey / "penetrations.csv", work / "planned.gpkg")
    floor = show_plan(project, survey / "floor_plan.dxf")
    describe(project)
    floor.scale(1.05)
    project.viewSettings().setDefaultViewExtent(QgsReferencedRectangle(floor, project.crs()))
    path = work / "inslab-sample.qgz"
    if not project.write(str(path)):
        raise RuntimeError(f"{path} cannot be written: {project.error()}")
    return path


def show_penetrations(project: QgsProject, path: Path, points: Path) -> None:
    """The planned penetrations on top of everything: circles of the true diameter.

    They become points of a GeoPackage, which can be moved on the map; coordinates in columns would stay behind.
    """
    from inslab.plugin.styles.plan import style_penetrations

    url = QUrl.fromLocalFile(str(path))
    url.setQuery(f"type=csv&detectTypes=yes&xField=x_m&yField=y_m&crs=WKT:{project.crs().toWkt()}")
    table = QgsVectorLayer(url.toString(), path.stem, "delimitedtext")
    table.setCrs(project.crs())
    options = QgsVectorFileWriter.SaveVectorOptions()
    options.layerName = "planned"
    options.attributes = [number for number, field in enumerate(table.fields()) if field.name() not in ("x_m", "y_m")]
    options.datasourceOptions = ["VERSION=1.2"]  # newer ones make older QGIS warn
    failed, reason, *_ = QgsVectorFileWriter.writeAsVectorFormatV3(
        table, str(points), project.transformContext(), options
    )
    if failed != QgsVectorFileWriter.WriterError.NoError:
        raise RuntimeError(f"{points} cannot be written: {reason}")
    layer = QgsVectorLayer(f"{points}|layername=planned", PLANNED, "ogr")
    layer.setCrs(project.crs())
    style_penetrations(layer)
    project.addMapLayer(layer, False)
    project.layerTreeRoot().insertLayer(0, layer).setExpanded(False)


def show_plan(project: QgsProject, path: Path) -> QgsRectangle:
    """The floor plan below everything: its lines in grey, its texts as they stand; returns the extent of its lines."""
    from inslab.plugin.styles.labels import text_format

    group = project.layerTreeRoot().addGroup("Floor plan")
    group.setExpanded(False)
    for kind, title in (("Point", "Texts of the plan"), ("LineString", "Lines of the plan")):
        layer = QgsVectorLayer(f"{path}|layername=entities|geometrytype={kind}", title, "ogr")
        layer.setCrs(project.crs())  # a DXF carries none; this plan is drawn in metres of the site grid
        if kind == "LineString":
            pen = QgsLineSymbol.createSimple({"color": "#5b6472", "width": "0.3"})
            layer.setRenderer(QgsSingleSymbolRenderer(pen))
        else:
            layer.setRenderer(QgsSingleSymbolRenderer(QgsMarkerSymbol.createSimple({"size": "0"})))
            settings = QgsPalLayerSettings()
            settings.fieldName = "Text"
            settings.placement = QgsPalLayerSettings.Placement.OverPoint
            settings.setFormat(text_format(9.0, "#5b6472"))
            layer.setLabeling(QgsVectorLayerSimpleLabeling(settings))
            layer.setLabelsEnabled(True)
        project.addMapLayer(layer, False)
        group.addLayer(layer)
    return layer.extent()


def describe(project: QgsProject) -> None:
    """Title, and the cautions both in the project's properties and on the map itself."""
    from inslab.plugin.styles.labels import text_format
    from inslab.processing.common import cautions

    project.setTitle(TITLE)
    metadata = project.metadata()
    metadata.setTitle(TITLE)
    metadata.setAbstract(" ".join(cautions.ALL))
    project.setMetadata(metadata)
    labels = (("TitleLabel", TITLE, TOP_CENTRE), ("CopyrightLabel", textwrap.fill(cautions.SHORT, 72), BOTTOM_LEFT))
    for name, text, place in labels:
        project.writeEntry(name, "/Enabled", True)
        project.writeEntry(name, "/Label", text)
        project.writeEntry(name, "/Placement", place)
    # The cautions lie on items and slices: smaller than QGIS's own size, and legible over them.
    text = QDomDocument()
    text.appendChild(text_format(7.5).writeXml(text, QgsReadWriteContext()))
    project.writeEntry("CopyrightLabel", "/Font", text.toString())


def main(arguments):
    if len(arguments) != 1:
        print("Usage: build_project.py WORK_FOLDER", file=sys.stderr)
        return 2
    load_inslab()
    application = QgsApplication([], False)
    application.initQgis()
    try:
        build(Path(arguments[0]).resolve())
    finally:
        QgsProject.instance().clear()
        application.exitQgis()
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
