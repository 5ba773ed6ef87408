"""Where on the map a finding lies."""

from qgis.core import QgsCoordinateReferenceSystem, QgsCoordinateTransform, QgsCsException, QgsProject, QgsRectangle

from ....processing.common.errors import InslabError
from ....processing.common.language import tr
from ....processing.steps.shared.survey_state import areas_named
from ....processing.store.geopackage import read_layer
from ....processing.store.reading import read_crs_wkt
from ....processing.store.schema import SCAN_AREAS

MARGIN = 1.2


def zoom_to_areas(canvas, survey_path, finding) -> str:
    """Zooms the map to the scan areas that a finding is about; returns a sentence where there is nothing to zoom to."""
    try:
        outlines = {row[SCAN_AREAS.area_id]: rings for rings, row in read_layer(survey_path, SCAN_AREAS.name)}
        wkt = read_crs_wkt(survey_path)
    except InslabError as error:
        return str(error)
    named = areas_named(finding, list(outlines))
    if not named:
        return tr("This finding belongs to no single scan area.")
    box = QgsRectangle()
    for name in named:
        for ring in outlines[name] or ():
            box.combineExtentWith(QgsRectangle(*ring.min(axis=0), *ring.max(axis=0)))
    if box.isNull() or box.isEmpty():
        return tr("Scan area {area} has no position on the site grid.", area=", ".join(named))
    crs = QgsCoordinateReferenceSystem.fromWkt(wkt)
    try:
        step = QgsCoordinateTransform(crs, canvas.mapSettings().destinationCrs(), QgsProject.instance())
        box = step.transformBoundingBox(box)
    except QgsCsException:
        return tr(
            "Scan area {area} lies outside the area of use of the map's coordinate system.", area=", ".join(named)
        )
    box.scale(MARGIN)
    canvas.setExtent(box)
    canvas.refresh()
    return ""
