"""The rows of an answer as a list: items first, then ground that is unknown."""

from typing import Dict, List, Optional

from qgis.PyQt.QtCore import Qt, pyqtSignal
from qgis.PyQt.QtWidgets import QAbstractItemView, QHeaderView, QTreeWidget, QTreeWidgetItem

from ....processing.common.language import tr
from ....processing.common.vocabulary.kinds import kind_of
from ....processing.common.vocabulary.statuses import DETECTED
from ....processing.common.vocabulary.values import word
from ....processing.record.query import Answer
from ....processing.record.schema import ITEMS

NUMBER = Qt.ItemDataRole.UserRole


class AnswerList(QTreeWidget):
    """One line a row; `wanted` gives the row that was clicked."""

    wanted = pyqtSignal(object)

    def __init__(self):
        super().__init__()
        self._rows: List[Dict] = []
        self.setHeaderLabels([tr("Item"), tr("Kind"), tr("Top, mm"), tr("Known by"), tr("Years")])
        self.setRootIsDecorated(False)
        self.setAlternatingRowColors(True)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setToolTip(tr("Click a row to see it on the map. Top: depth to the top with its 1-sigma."))
        self.header().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        self.itemClicked.connect(lambda entry, _column: self.wanted.emit(self._rows[entry.data(0, NUMBER)]))

    def show_answer(self, answer: Answer) -> None:
        """The rows of another answer."""
        self.forget()
        for row in [*answer.items, *answer.past]:
            self._add(row, _item_cells(row), _item_tip(row))
        for row in answer.unknown:
            seen = "" if row["seen_to_m"] is None else tr("seen to {depth:.0f}", depth=1000 * row["seen_to_m"])
            cells = [tr("unknown"), tr("{area:.2f} m²", area=row["area_m2"]), seen, row["why"], ""]
            self._add(row, cells, f"{row[ITEMS.level]} ({row[ITEMS.surface]}): {row['why']}")

    def forget(self) -> None:
        """No rows."""
        self.clear()
        self._rows = []

    @property
    def chosen(self) -> Optional[Dict]:
        """The row that is chosen."""
        return next((self._rows[entry.data(0, NUMBER)] for entry in self.selectedItems()), None)

    def _add(self, row: Dict, cells: List[str], tip: str) -> None:
        entry = QTreeWidgetItem(cells)
        entry.setData(0, NUMBER, len(self._rows))
        for column in range(len(cells)):
            entry.setToolTip(column, tip)
        self._rows.append(row)
        self.addTopLevelItem(entry)


def _item_cells(row: Dict) -> List[str]:
    depths = sorted(
        {round(1000 * row[name]) for name in (ITEMS.depth_min_m, ITEMS.depth_max_m) if row[name] is not None}
    )
    top = "–".join(map(str, depths)) or "?"
    if row[ITEMS.sigma_depth_m] is not None:
        top += f" ± {1000 * row[ITEMS.sigma_depth_m]:.0f}"
    proof = (
        tr("radar")
        if row[ITEMS.status] == DETECTED
        else f"{word(row[ITEMS.status])} {row[ITEMS.verified_on] or ''}".strip()
    )
    age = "" if row["age_years"] is None else f"{row['age_years']:.1f}"
    name = f"! {row[ITEMS.item_id]}" if row[ITEMS.flag] else row[ITEMS.item_id]
    return [name, kind_of(row[ITEMS.kind]).title, top, proof, age]


def _item_tip(row: Dict) -> str:
    """What else is to be said of an item."""
    sure = tr("{percent:.0f} per cent sure of its kind.", percent=100 * (row[ITEMS.kind_confidence] or 0.0))
    seen = tr(
        "Seen by {surveys}, last on {day}.", surveys=row[ITEMS.survey_ids] or "–", day=row[ITEMS.last_seen_on] or "–"
    )
    quality = tr("Quality level {quality}.", quality=row[ITEMS.quality_level])
    place = tr("Position in plan ± {sigma:.0f} mm.", sigma=1000 * (row[ITEMS.sigma_xy_m] or 0.0))
    return "\n".join(text for text in (sure, quality, seen, place, row[ITEMS.flag], row[ITEMS.note]) if text)
