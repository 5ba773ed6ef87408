"""The list of steps in the survey panel: how each stands, and what it noticed."""

from typing import List, Sequence

from qgis.PyQt.QtCore import QRect, QSize, Qt
from qgis.PyQt.QtGui import QPalette
from qgis.PyQt.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTreeWidget,
    QTreeWidgetItem,
)

from ....processing.common.language import tr
from ....processing.steps.shared.survey_state import StepState
from ...plain_text import as_html
from .signs import RUNNING, WORDS, sign

STEP_ROLE, FINDING_ROLE = Qt.ItemDataRole.UserRole, Qt.ItemDataRole.UserRole + 1
MARKS = {"error": "!! ", "warning": "! ", "note": ""}
_TALLEST = 10_000


class WrappedSentences(QStyledItemDelegate):
    """Draws the sentences below a step whole, in as many lines as the width of the view asks for.

    Left to itself Qt takes the height for one line, and leaves out what does not fit.
    """

    _FLAGS = Qt.TextFlag.TextWordWrap | Qt.AlignmentFlag.AlignLeft

    def sizeHint(self, option, index) -> QSize:
        hint = super().sizeHint(option, index)
        if not index.parent().isValid() or not index.data():
            return hint
        view, margin = self.parent(), self._margin(option)
        # The scroll bar may come; a row below a step begins two steps of indentation in.
        outside = view.width() - 2 * view.frameWidth() - view.verticalScrollBar().sizeHint().width()
        room = QRect(0, 0, max(1, outside - 2 * view.indentation() - 2 * margin), _TALLEST)
        needed = option.fontMetrics.boundingRect(room, self._FLAGS, index.data())
        return QSize(room.width(), needed.height() + margin)

    def paint(self, painter, option, index) -> None:
        if not index.parent().isValid() or index.column():
            super().paint(painter, option, index)
            return
        plain, margin = QStyleOptionViewItem(option), self._margin(option)
        self.initStyleOption(plain, index)
        sentence, plain.text = plain.text, ""
        self.parent().style().drawControl(QStyle.ControlElement.CE_ItemViewItem, plain, painter, self.parent())
        chosen = bool(plain.state & QStyle.StateFlag.State_Selected)
        role = QPalette.ColorRole.HighlightedText if chosen else QPalette.ColorRole.Text
        painter.setPen(plain.palette.color(role))
        painter.drawText(plain.rect.adjusted(margin, 0, -margin, 0), self._FLAGS, sentence)

    @staticmethod
    def _margin(option) -> int:
        return option.fontMetrics.averageCharWidth() // 2


class StepTree(QTreeWidget):
    """Steps with their states, and below each why it stands so and what it noticed, in rows as high as their sentences."""

    def __init__(self):
        super().__init__()
        self.setWordWrap(True)
        self.setItemDelegate(WrappedSentences(self))
        self.setHeaderLabels([tr("Step"), tr("State")])
        self.setToolTip(tr("The steps in order. Open one for what it noticed; click a finding to see its area."))
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setAlternatingRowColors(True)
        self.setContextMenuPolicy(Qt.ContextMenuPolicy.CustomContextMenu)
        header = self.header()
        header.setStretchLastSection(False)
        header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        header.setSectionResizeMode(1, QHeaderView.ResizeMode.ResizeToContents)

    def show_states(self, states: Sequence[StepState], running: str = "") -> None:
        """Show other states; what is chosen and opened stays so. `running` is the name of the step that is being run."""
        chosen = self.chosen_step()
        opened = {entry.data(0, STEP_ROLE) for entry in self._entries() if entry.isExpanded()}
        self.clear()
        side, ratio = self.fontMetrics().height(), self.devicePixelRatioF()
        for one in states:
            state = RUNNING if one.step.name == running else one.state
            count = sum(finding.severity != "note" for finding in one.findings)
            entry = QTreeWidgetItem([one.title, WORDS[state].format(count=count)])
            entry.setData(0, STEP_ROLE, one.step.name)
            entry.setIcon(0, sign(state, side, self.palette(), ratio))
            entry.setToolTip(1, as_html("\n".join(one.reasons)))
            for sentence in one.reasons:
                _add_below(entry, sentence)
            for finding in one.findings:
                below = _add_below(entry, f"{MARKS[finding.severity]}{finding.where}: {finding.text}")
                below.setData(0, FINDING_ROLE, finding)
            self.addTopLevelItem(entry)
            for number in range(entry.childCount()):
                entry.child(number).setFirstColumnSpanned(True)
            entry.setExpanded(one.step.name in opened)
            entry.setSelected(one.step.name == chosen)

    def chosen_step(self) -> str:
        """Name of the step that is chosen, by itself or by a sentence below it; empty where none is."""
        for item in self.selectedItems():
            return (item.parent() or item).data(0, STEP_ROLE)
        return ""

    def open_step(self, step: str) -> None:
        """Choose a step and open what it noticed; close the others."""
        for entry in self._entries():
            entry.setExpanded(entry.data(0, STEP_ROLE) == step)
            entry.setSelected(entry.data(0, STEP_ROLE) == step)

    def _entries(self) -> List[QTreeWidgetItem]:
        return [self.topLevelItem(number) for number in range(self.topLevelItemCount())]

    def resizeEvent(self, event) -> None:
        super().resizeEvent(event)
        self.scheduleDelayedItemsLayout()


def _add_below(entry: QTreeWidgetItem, text: str) -> QTreeWidgetItem:
    below = QTreeWidgetItem([text])
    below.setToolTip(0, as_html(text))
    entry.addChild(below)
    return below
