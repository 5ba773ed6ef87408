"""Places that a record is asked about: what is drawn, selected or in view, brought onto the record's site grid."""

from dataclasses import dataclass, field
from typing import List, Optional, Sequence, Tuple

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsCoordinateTransformContext,
    QgsCsException,
    QgsGeometry,
    QgsWkbTypes,
)

from ...processing.common.errors import ProcessingError
from ...processing.common.language import tr
from ...processing.site.crs import is_tied

AREA = QgsWkbTypes.GeometryType.PolygonGeometry
LINE = QgsWkbTypes.GeometryType.LineGeometry


@dataclass(frozen=True)
class Place:
    """A polygon or a line in the coordinates of `crs`; None as `geometry` stands for everything."""

    words: str
    geometry: Optional[QgsGeometry] = None
    crs: QgsCoordinateReferenceSystem = field(default_factory=QgsCoordinateReferenceSystem)

    def on_grid(self, grid_wkt: str, context: QgsCoordinateTransformContext) -> Tuple[Optional[List], Optional[List]]:
        """(rings, None) of a polygon or (None, vertices) of a line on the site grid, metres; (None, None) for everything.

        A grid that is tied to nothing is in no relation to any map: coordinates then count as they are. Raises `ProcessingError`.
        """
        if self.geometry is None:
            return None, None
        shape = QgsGeometry(self.geometry)
        if is_tied(grid_wkt) and self.crs.isValid():
            grid = QgsCoordinateReferenceSystem.fromWkt(grid_wkt)
            try:
                shape.transform(QgsCoordinateTransform(self.crs, grid, context))
            except QgsCsException as error:
                raise ProcessingError(
                    tr("The place cannot be converted to the record's site grid: check its coordinate system.")
                ) from error
        shape.convertToSingleType()
        if shape.type() == AREA:
            return [[[point.x(), point.y()] for point in ring] for ring in shape.asPolygon()], None
        return None, [[point.x(), point.y()] for point in shape.asPolyline()]


def single_place(geometries: Sequence[QgsGeometry], crs: QgsCoordinateReferenceSystem) -> Place:
    """The one polygon or line among features; raises `ProcessingError` for none, several, or something else."""
    parts = [part for shape in geometries if not shape.isEmpty() for part in shape.constParts()]
    if len(parts) != 1 or geometries[0].type() not in (AREA, LINE):
        raise ProcessingError(
            tr("The place must be one polygon or one line, not {count}: select one.", count=len(geometries))
        )
    return Place(tr("the selection"), geometries[0], crs)
