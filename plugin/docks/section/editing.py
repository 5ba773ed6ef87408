"""Picks and items of the section that is shown: hearing of every change, and what the buttons do to the picks."""

from typing import Callable, List, Optional

from qgis.core import QgsVectorLayer
from qgis.PyQt.QtCore import QObject, pyqtSignal

from ....processing.common.errors import InslabError
from ....processing.common.language import tr
from ....processing.store.schema import ITEMS, PICKS
from ....processing.views.section import Section
from ...project.shown import ShownPlane
from .marks import Mark
from .picks import PickEditor, item_marks


class SectionEditing(QObject):
    """Follows the layers `picks` and `items` of one plane; a refusal becomes a sentence."""

    changed = pyqtSignal()
    refused = pyqtSignal(str)

    def __init__(self, parent=None):
        super().__init__(parent)
        self.editor: Optional[PickEditor] = None
        self.items: Optional[QgsVectorLayer] = None
        self._section: Optional[Section] = None
        self._layers: List[QgsVectorLayer] = []  # whose changes are heard of

    @property
    def picks(self) -> Optional[QgsVectorLayer]:
        """The layer of picks; None where there is none."""
        return self.editor.layer if self.editor is not None else None

    def follow(self, plane: ShownPlane, section: Section) -> None:
        """Another section, and the layers of its plane."""
        picks, self.items, self._section = plane.layer(PICKS.name), plane.layer(ITEMS.name), section
        self.editor = PickEditor(picks, section) if picks is not None else None
        self._listen([layer for layer in (picks, self.items) if layer is not None])

    def forget(self) -> None:
        """No section any more."""
        self._listen([])
        self.editor = self.items = self._section = None

    def holds_one_of(self, layer_ids) -> bool:
        """Is one of these layers followed?"""
        return bool({layer.id() for layer in self._layers} & set(layer_ids))

    def marks(self) -> List[Mark]:
        """What is drawn over the section, edits that are not saved included."""
        items = item_marks(self.items, self._section) if self.items is not None else []
        return items + (self.editor.marks() if self.editor is not None else [])

    def add(self, distance_m: float, depth_m: float) -> None:
        """A new pick of the scan line, selected."""
        distance = min(max(distance_m, 0.0), self._section.path.length_m)
        fid = self._try(lambda editor: editor.add(distance, depth_m))
        if fid is not None:
            self.choose(fid)

    def move(self, fid: int, distance_m: float, depth_m: float) -> None:
        """Move a pick along its line and in depth."""
        self._try(lambda editor: editor.move(fid, distance_m, depth_m))

    def delete_selected(self) -> None:
        """Delete the picks of this section that are selected."""
        for fid in [mark.fid for mark in self.editor.marks() if mark.is_selected] if self.editor else []:
            self._try(lambda editor, fid=fid: editor.delete(fid))

    def choose(self, fid: int) -> None:
        """Select a pick, on the map as well; -1 selects none."""
        if self.picks is not None:
            self.picks.selectByIds([fid] if fid != -1 else [])

    def undo(self) -> None:
        self._try(lambda editor: editor.layer.undoStack().undo())

    def redo(self) -> None:
        self._try(lambda editor: editor.layer.undoStack().redo())

    def save(self) -> None:
        """Write the changes into the file and stop editing: while a layer is being edited, runs are refused."""
        layer = self.picks
        if layer is not None and layer.isEditable() and not layer.commitChanges():
            self.refused.emit(tr("The picks cannot be saved: {reason}", reason="; ".join(layer.commitErrors())))
        self.changed.emit()

    def _try(self, change: Callable):
        if self.editor is None:
            self.refused.emit(tr("This survey has no picks yet; run 'Detect items' first."))
            return None
        try:
            return change(self.editor)
        except InslabError as error:
            self.refused.emit(str(error))
            return None
        finally:
            self.changed.emit()

    def _listen(self, layers: List[QgsVectorLayer]) -> None:
        for layer in self._layers:
            for signal in (layer.selectionChanged, layer.layerModified, layer.editingStopped):
                signal.disconnect(self._tell)
        self._layers = layers
        for layer in layers:
            for signal in (layer.selectionChanged, layer.layerModified, layer.editingStopped):
                signal.connect(self._tell)

    def _tell(self, *_change) -> None:
        self.changed.emit()
