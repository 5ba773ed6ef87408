"""Places on the map, or in a layer, as coordinates of the site grid: converted where that is certain, else refused in a sentence.

The site grid is that of the surveys that the project shows. Where it shows none, the project's own coordinate system is taken for
it: a new job is set up over a drawing of the building.
"""

from typing import Tuple

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsCsException,
    QgsPointXY,
    QgsProject,
    QgsUnitTypes,
)

from ...processing.common.errors import ProcessingError
from ...processing.common.language import tr
from ..project.shown import shown_planes

NOT_TIED = "(not tied)"  # part of the name of the datum that `site.crs.local_crs_wkt` gives


def on_site(project: QgsProject, point: QgsPointXY, crs: QgsCoordinateReferenceSystem) -> Tuple[float, float]:
    """Site coordinates, metres, of a point in the system `crs`; raises `ProcessingError` where no certain way leads there.

    Numbers without a system are taken as they are.
    """
    site = _site_grid(project)
    if crs.isValid() and site.isValid() and not _same(crs, site):
        if _is_local(crs) or _is_local(site):
            raise ProcessingError(
                tr(
                    "The relation between {crs} and {site} is not known: tie the site grid first ('Define the site "
                    "grid'), or use the coordinate system of the survey's layers.",
                    crs=_name(crs),
                    site=_name(site),
                )
            )
        try:
            point = QgsCoordinateTransform(crs, site, project).transform(point)
        except QgsCsException as error:
            raise ProcessingError(
                tr("This place cannot be converted from {crs} to {site}.", crs=_name(crs), site=_name(site))
            ) from error
    return point.x(), point.y()


def _site_grid(project: QgsProject) -> QgsCoordinateReferenceSystem:
    found = []
    for plane in shown_planes(project):
        if not any(_same(plane.crs, other) for other in found):
            found.append(plane.crs)
    if len(found) > 1:
        raise ProcessingError(
            tr("The project shows surveys on different site grids; keep those of one and pick the point again.")
        )
    site = found[0] if found else project.crs()
    if site.isValid() and site.mapUnits() != QgsUnitTypes.DistanceUnit.DistanceMeters:
        raise ProcessingError(
            tr(
                "The project's coordinate system, {crs}, is not in metres; choose one that is, or none, in the project's "
                "properties.",
                crs=_name(site),
            )
        )
    return site


def _same(one: QgsCoordinateReferenceSystem, other: QgsCoordinateReferenceSystem) -> bool:
    """Read back from a file, the plain site grid does not equal itself on some versions of QGIS."""
    return one == other or (_is_local(one) and _is_local(other))


def _is_local(crs: QgsCoordinateReferenceSystem) -> bool:
    return NOT_TIED in crs.toWkt(QgsCoordinateReferenceSystem.WktVariant.WKT_PREFERRED)


def _name(crs: QgsCoordinateReferenceSystem) -> str:
    return crs.description() or crs.authid() or tr("a coordinate system of the project's own")
