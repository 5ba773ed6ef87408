"""Third page: which file belongs to which line, and what each file says."""

from fnmatch import fnmatch
from pathlib import Path
from typing import List, Optional, Sequence

from qgis.PyQt.QtCore import Qt, pyqtSignal
from qgis.PyQt.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from ...processing.common.errors import SurveyError
from ...processing.common.language import tr
from ...processing.common.vocabulary.values import word
from ...processing.survey.grid_plan import FileCheck, PlannedLine, assign_files, count_sentence, line_files_in
from ..plain_text import as_html, plain_label
from . import fields

COLUMNS = (tr("Line"), tr("Axis"), tr("File"), tr("Traces"), tr("Samples"), tr("Trace spacing"), tr("Check"))
LINE, AXIS, FILE, TRACES, SAMPLES, SPACING, LOOK = range(len(COLUMNS))


class FilesPage(QWidget):
    """The files of a folder in the order in which the lines were walked; single ones can be moved or left out."""

    changed = pyqtSignal()
    selected = pyqtSignal(int)

    def __init__(self):
        super().__init__()
        self.files: List[Path] = []
        self.problem = ""
        self.folder = fields.folder(tr("Folder with the line files of this area, in the order of their names."))
        self.names = fields.text(tr("Only files whose names match: A1* for all that begin with A1."), "*")
        self.up = fields.button(tr("Earlier"), tr("Swap this file with the one above."), lambda: self._move(-1))
        self.down = fields.button(tr("Later"), tr("Swap this file with the one below."), lambda: self._move(1))
        self.leave_out = fields.button(
            tr("Leave out"), tr("This file belongs to no line; those below move up."), self._drop
        )
        self.again = fields.button(
            tr("Read folder again"), tr("All files of the folder, in the order of their names."), self.read
        )
        self.sentence = plain_label()
        self.sentence.setToolTip(tr("Whether there are as many files as lines."))
        self.table = QTableWidget(0, len(COLUMNS))
        self.table.setHorizontalHeaderLabels(COLUMNS)
        self.table.setToolTip(tr("Each line with its file, and what the file says."))
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.table.verticalHeader().setVisible(False)
        header = self.table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setStretchLastSection(True)
        rows = ((tr("Folder"), self.folder), (tr("Names"), self.names))
        fields.lay_out_table(self, rows, (self.up, self.down, self.leave_out, self.again), self.sentence, self.table)
        self.folder.fileChanged.connect(lambda _: self.read())
        self.names.textChanged.connect(lambda _: self.read())
        self.table.itemSelectionChanged.connect(lambda: self.selected.emit(self.table.currentRow()))

    def read(self) -> None:
        """Take the files of the folder anew."""
        folder, pattern = self.folder.filePath().strip(), self.names.text().strip() or "*"
        self.files, self.problem = [], ""
        if folder:
            try:
                self.files = [path for path in line_files_in(folder) if fnmatch(path.name.lower(), pattern.lower())]
            except SurveyError as error:
                self.problem = str(error)
        self.changed.emit()

    def clear(self) -> None:
        """No files any more: those of an area that was written are not those of the next."""
        self.folder.blockSignals(True)
        self.folder.setFilePath("")
        self.folder.blockSignals(False)
        self.read()

    def assigned(self, lines: Sequence[PlannedLine]) -> List[PlannedLine]:
        """The lines with their files."""
        return assign_files(lines, self.files)

    def show_lines(self, lines: Sequence[PlannedLine]) -> None:
        """Fill the table; what the files say comes with `show_checks`."""
        self.sentence.setText(
            self.problem or (count_sentence(lines, self.files) if self.files else tr("Choose the folder."))
        )
        row = self.table.currentRow()
        self.table.blockSignals(True)
        surplus = self.files[len(lines) :]
        self.table.setRowCount(len(lines) + len(surplus))
        for number, line in enumerate(lines):
            self._fill(
                number, (line.line_id, word(line.dipole_axis), line.file.name if line.file else "", "", "", "", "")
            )
        for number, file in enumerate(surplus, len(lines)):
            self._fill(number, ("", "", file.name, "", "", "", tr("no line left for it")))
        if 0 <= row < self.table.rowCount():
            self.table.selectRow(row)
        self.table.blockSignals(False)

    def show_checks(self, checks: Sequence[FileCheck], together) -> None:
        """What the files say: `checks` in the order of the lines, `together` as `grid_plan.check_together`."""
        for number, one in enumerate(checks):
            if number >= self.table.rowCount():
                break
            said = [one.problem, *one.warnings, together.get(number, "")]
            cells = {
                TRACES: str(one.trace_count or ""),
                SAMPLES: str(one.sample_count or ""),
                SPACING: f"{1000 * one.spacing_m:.2f} mm" if one.spacing_m else "",
                LOOK: " ".join(text for text in said if text),
            }
            for column, words in cells.items():
                self.table.item(number, column).setText(words)
                self.table.item(number, column).setToolTip(as_html(words))
            mark = self.table.item(number, LINE)
            font = mark.font()
            font.setStrikeOut(bool(one.problem))  # seen without colour
            mark.setFont(font)

    def select(self, row: Optional[int]) -> None:
        """Choose a line's row."""
        if row is not None:
            self.table.selectRow(row)

    def _fill(self, row: int, texts: Sequence[str]) -> None:
        for column, words in enumerate(texts):
            item = QTableWidgetItem(words)
            item.setToolTip(as_html(words))
            if column in (TRACES, SAMPLES, SPACING):
                item.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
            self.table.setItem(row, column, item)

    def _move(self, step: int) -> None:
        row, other = self.table.currentRow(), self.table.currentRow() + step
        if 0 <= row < len(self.files) and 0 <= other < len(self.files):
            self.files[row], self.files[other] = self.files[other], self.files[row]
            self.table.selectRow(other)
            self.changed.emit()

    def _drop(self) -> None:
        row = self.table.currentRow()
        if 0 <= row < len(self.files):
            del self.files[row]
            self.changed.emit()
