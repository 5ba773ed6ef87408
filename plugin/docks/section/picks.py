"""Picks and items of a section, as their layers hold them now; adding, moving and deleting picks in QGIS's own edit buffer."""

from typing import List, Optional

import numpy as np
from qgis.core import (
    QgsExpression,
    QgsFeature,
    QgsFeatureRequest,
    QgsGeometry,
    QgsPoint,
    QgsVectorLayer,
    QgsVectorLayerUtils,
)

from ....processing.common.errors import ProcessingError
from ....processing.common.language import tr
from ....processing.common.vocabulary.kinds import UNKNOWN_KIND
from ....processing.common.vocabulary.statuses import is_obstacle
from ....processing.edits.carried_over import HAND_SIGMA_M
from ....processing.store.schema import ITEMS, PICKS
from ....processing.views.section import Section
from .marks import PICK, Mark

NEAR_M = 0.02  # picks of other lines are drawn in a drawn section when they lie so near


def number_or_none(value) -> Optional[float]:
    """A number of a feature; None for NULL, which is an object of its own in some versions of QGIS."""
    return float(value) if isinstance(value, (int, float)) else None


class PickEditor:
    """The picks of one section in the layer `picks`. Every change is one step of the layer's undo stack."""

    def __init__(self, layer: QgsVectorLayer, section: Section):
        self.layer, self.section = layer, section

    def marks(self) -> List[Mark]:
        """The picks of the scan line, or those near a drawn line; edits that are not saved included."""
        selected = set(self.layer.selectedFeatureIds())
        found = []
        for feature in self.layer.getFeatures(self._request()):
            distance = self._distance(feature)
            depth = self._depth(feature)
            if distance is None or depth is None:
                continue
            sigmas = (number_or_none(feature[name]) for name in (PICKS.sigma_along_m, PICKS.sigma_depth_m))
            label = str(feature[PICKS.pick_id] or "")
            found.append(Mark(feature.id(), PICK, label, distance, depth, *sigmas, feature.id() in selected))
        return found

    def add(self, distance_m: float, depth_m: float) -> int:
        """A new pick; the number of its feature, which QGIS replaces on saving."""
        line = self._line()
        self._start()
        names = {PICKS.pick_id: self._new_id(), PICKS.area_id: line.area_id, PICKS.line_id: line.line_id}
        names.update(self._place(distance_m, depth_m))
        values = {self.layer.fields().indexOf(name): value for name, value in names.items()}
        values = {index: value for index, value in values.items() if index >= 0}
        feature = QgsVectorLayerUtils.createFeature(self.layer, self._geometry(distance_m, depth_m), values)
        self.layer.beginEditCommand(tr("Add a pick"))
        # QGIS tells the number that it gave to the feature itself, not to the caller's copy of it, on some versions.
        before = set(self.layer.editBuffer().addedFeatures())
        done = self.layer.addFeature(feature)
        self._end(done)
        return next(iter(set(self.layer.editBuffer().addedFeatures()) - before))

    def move(self, fid: int, distance_m: float, depth_m: float) -> None:
        """Move a pick to another place on its line."""
        self._line()
        self._start()
        self.layer.beginEditCommand(tr("Move a pick"))
        done = True
        if self.section.is_placed:
            done = self.layer.changeGeometry(fid, self._geometry(distance_m, depth_m))
        for name, value in self._place(distance_m, depth_m).items():
            index = self.layer.fields().indexOf(name)
            done = done and (index < 0 or self.layer.changeAttributeValue(fid, index, value))
        self._end(done)

    def delete(self, fid: int) -> None:
        """Delete a pick."""
        self._start()
        self.layer.beginEditCommand(tr("Delete a pick"))
        self._end(self.layer.deleteFeature(fid))

    def _line(self):
        if self.section.line is None:
            raise ProcessingError(tr("Picks belong to scan lines; choose one to add or move picks."))
        return self.section.line

    def _start(self) -> None:
        if not self.layer.isEditable() and not self.layer.startEditing():
            raise ProcessingError(
                tr("The layer {layer} cannot be edited; is its file read-only or in use?", layer=self.layer.name())
            )

    def _end(self, done: bool) -> None:
        if not done:
            self.layer.destroyEditCommand()
            raise ProcessingError(tr("QGIS refused this change to the layer {layer}.", layer=self.layer.name()))
        self.layer.endEditCommand()
        self.layer.triggerRepaint()

    def _request(self) -> QgsFeatureRequest:
        if self.section.line is None:
            return QgsFeatureRequest()
        line = self.section.line
        texts = [
            f"{QgsExpression.quotedColumnRef(name)} = {QgsExpression.quotedString(getattr(line, name))}"
            for name in (PICKS.area_id, PICKS.line_id)
        ]
        return QgsFeatureRequest().setFilterExpression(" AND ".join(texts))

    def _distance(self, feature: QgsFeature) -> Optional[float]:
        if feature.hasGeometry() and self.section.is_placed:
            point = feature.geometry().constGet()
            distance, away = self.section.path.place((point.x(), point.y()))
            return distance if self.section.line is not None or away < NEAR_M else None
        if self.section.line is None:
            return None
        local = [number_or_none(feature[name]) for name in (PICKS.local_x_m, PICKS.local_y_m)]
        if None in local:
            return None
        return float((np.array(local) - self.section.line.start_m) @ self.section.line.direction)

    def _depth(self, feature: QgsFeature) -> Optional[float]:
        depth = number_or_none(feature[PICKS.depth_m])
        if depth is None and feature.hasGeometry():
            height = feature.geometry().constGet().z()
            depth = -height if np.isfinite(height) else None
        return depth

    def _geometry(self, distance_m: float, depth_m: float) -> QgsGeometry:
        if not self.section.is_placed:
            return QgsGeometry()
        x, y = self.section.path.points_at(distance_m)[0]
        return QgsGeometry(QgsPoint(float(x), float(y), -float(depth_m)))

    def _place(self, distance_m: float, depth_m: float):
        """The columns that say where a pick lies, and how sure that is for one read off by eye."""
        section = self.section
        local = section.local_at(distance_m)
        values = {PICKS.depth_m: float(depth_m), PICKS.local_x_m: float(local[0]), PICKS.local_y_m: float(local[1])}
        values[PICKS.sigma_along_m] = HAND_SIGMA_M
        values[PICKS.sigma_depth_m] = float(np.hypot(HAND_SIGMA_M, section.speed.depth_sigma_m(depth_m)))
        if section.is_placed:
            values[PICKS.sigma_xy_m] = float(np.hypot(HAND_SIGMA_M, section.fit.sigma_at([local])[0]))
        return values

    def _new_id(self) -> str:
        taken = {str(feature[PICKS.pick_id]) for feature in self.layer.getFeatures()}
        number = 1
        while f"{self.section.line.area_id}-hand-{number}" in taken:
            number += 1
        return f"{self.section.line.area_id}-hand-{number}"


def item_marks(layer: QgsVectorLayer, section: Section) -> List[Mark]:
    """The items that cross a section; those that were refuted or superseded are left out, as everywhere."""
    if not section.is_placed:
        return []
    selected = set(layer.selectedFeatureIds())
    found = []
    for feature in layer.getFeatures():
        if not feature.hasGeometry() or not is_obstacle(feature[ITEMS.status]):
            continue
        vertices = np.array([(v.x(), v.y(), -v.z()) for v in feature.geometry().vertices()])
        stated = number_or_none(feature[ITEMS.depth_min_m])
        vertices[:, 2] = np.where(np.isfinite(vertices[:, 2]), vertices[:, 2], 0.0 if stated is None else stated)
        sigmas = [number_or_none(feature[name]) for name in (ITEMS.sigma_xy_m, ITEMS.sigma_depth_m)]
        for met in section.path.meetings(vertices):
            label, kind = str(feature[ITEMS.item_id] or ""), str(feature[ITEMS.kind] or UNKNOWN_KIND)
            label = f"! {label}" if feature[ITEMS.flag] else label  # as in the lists: a person must check it
            chosen = feature.id() in selected
            found.append(Mark(feature.id(), kind, label, met.distance_m, met.depth_m, *sigmas, chosen))
    return found
