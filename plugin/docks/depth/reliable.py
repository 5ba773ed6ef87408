"""How deep the areas that the map shows were seen reliably."""

from typing import Dict, Optional, Tuple

from qgis.core import QgsCoordinateTransform, QgsCsException, QgsFeatureRequest, QgsProject

from ....processing.common.errors import InslabError
from ....processing.store.reading import read_area_depths
from ....processing.store.schema import SCAN_AREAS
from ...project.shown import ShownPlane


class ReliableDepths:
    """Reads the reliable depths of a survey once, until told to forget them."""

    def __init__(self, canvas):
        self.canvas = canvas
        self._survey_path, self._depths = "", {}

    def forget(self) -> None:
        """The survey may have been written anew."""
        self._survey_path, self._depths = "", {}

    def in_view(self, plane: Optional[ShownPlane]) -> Optional[Tuple[float, float]]:
        """Smallest and largest reliable depth of the areas that the map shows, metres; None if one of them has none."""
        layer = plane.layer(SCAN_AREAS.name) if plane else None
        if layer is None:
            return None
        of_map = self.canvas.mapSettings().destinationCrs()
        transform = QgsCoordinateTransform(of_map, layer.crs(), QgsProject.instance())
        try:
            extent = transform.transformBoundingBox(self.canvas.extent())
        except QgsCsException:
            return None  # the map shows a place where the site grid has no meaning
        seen = [feature[SCAN_AREAS.area_id] for feature in layer.getFeatures(QgsFeatureRequest().setFilterRect(extent))]
        depths = [self._of(plane.survey_path).get(area_id) for area_id in seen]
        if not depths or None in depths:
            return None
        return min(depths), max(depths)

    def _of(self, survey_path: str) -> Dict[str, Optional[float]]:
        if self._survey_path != survey_path:
            try:
                self._depths = {area_id: one.reliable_m for area_id, one in read_area_depths(survey_path).items()}
            except (InslabError, OSError):
                self._depths = {}  # a file that is gone: nothing is known
            self._survey_path = survey_path
        return self._depths
