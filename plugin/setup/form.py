"""The form that sets up a scan area: its pages, the sketch beside them, the checks, and writing in the background."""

from pathlib import Path
from typing import List, Optional

from qgis.core import QgsApplication, QgsTask
from qgis.PyQt.QtCore import QSize, Qt, QTimer, pyqtSignal
from qgis.PyQt.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QProgressBar,
    QPushButton,
    QScrollArea,
    QSplitter,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from ...processing.common.errors import Cancelled, InslabError
from ...processing.common.language import tr, trn
from ...processing.common.monitor import Monitor
from ...processing.store.survey_setup import add_area, known_area_ids
from ...processing.survey.grid_plan import PlannedLine, check_file, check_plan, check_together, plan_lines
from ..help import HelpKey, open_page
from ..plain_text import plain_label
from ..project.background import quiet_flags
from . import fields
from .area_page import AreaPage
from .files_page import FilesPage
from .grid_page import GridPage
from .grid_sketch import GridSketch
from .points_page import PointsPage

SOON_MS = 250
HELP_PAGE = "set_up_form"


class SetUpForm(QDialog):
    """Makes the tables of a survey folder, one scan area at a time.

    `written` tells the survey folder, and whether the survey is to be read now.
    """

    written = pyqtSignal(str, bool)

    def __init__(self, parent, canvas):
        super().__init__(parent)
        self.setWindowTitle(tr("Set up a survey"))
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose, False)
        self._task: Optional[QgsTask] = None
        self._check: Optional[QgsTask] = None
        self._read_now = False
        self.lines: List[PlannedLine] = []
        self._looked_at, self._found = None, None  # area and lines whose files were looked at, and what they say
        self.area_page, self.grid_page, self.files_page = AreaPage(), GridPage(), FilesPage()
        self.points_page = PointsPage(canvas)
        self._build()
        self._soon = QTimer(self)
        self._soon.setSingleShot(True)
        self._soon.setInterval(SOON_MS)
        self._soon.timeout.connect(self.update_plan)
        self._connect()
        self.update_plan()

    def _build(self) -> None:
        self.folder = fields.folder(tr("Folder of the survey; a further area is added to the existing tables."))
        self.areas_there = plain_label()
        self.areas_there.setToolTip(tr("Scan areas that the survey already has."))
        self.pages = QTabWidget()
        self.pages.setToolTip(tr("Go through the pages from left to right."))
        for page, title in (
            (_scrolling(self.area_page), tr("Area")),
            (_scrolling(self.grid_page), tr("Grid")),
            (self.files_page, tr("Files")),
            (self.points_page, tr("Control points")),
        ):
            self.pages.addTab(page, title)
        self.sketch = GridSketch()
        splitter = QSplitter(Qt.Orientation.Horizontal)
        splitter.addWidget(self.pages)
        splitter.addWidget(self.sketch)
        splitter.setChildrenCollapsible(False)
        splitter.setStretchFactor(0, 3)
        splitter.setStretchFactor(1, 2)
        self.problem = plain_label()
        self.problem.setToolTip(tr("What is missing before the area can be written."))
        self.progress = QProgressBar()
        self.progress.setToolTip(tr("Progress of writing."))
        self.progress.hide()
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close | QDialogButtonBox.StandardButton.Help)
        self.write_button = QPushButton(tr("Write"))
        self.write_button.setToolTip(tr("Add this area to the survey; nothing that is there is changed."))
        self.read_button = QPushButton(tr("Write, read and check"))
        self.read_button.setToolTip(tr("Add this area, then read the survey and say what needs a look."))
        for button in (self.write_button, self.read_button):
            buttons.addButton(button, QDialogButtonBox.ButtonRole.ActionRole)
        buttons.rejected.connect(self.reject)
        buttons.helpRequested.connect(lambda: open_page(HELP_PAGE))
        HelpKey(self, HELP_PAGE)
        top = QFormLayout()
        top.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        top.addRow(tr("Survey folder"), self.folder)
        top.addRow("", self.areas_there)
        layout = QVBoxLayout(self)
        layout.addLayout(top)
        layout.addWidget(splitter, 1)
        layout.addWidget(self.problem)
        layout.addWidget(self.progress)
        layout.addWidget(buttons)
        unit = self.fontMetrics().height()
        # Large fonts on a small screen: no larger than it, its frame included.
        room = (self.parentWidget() or self).screen().availableGeometry().size() * 0.95
        self.resize(QSize(70 * unit, 38 * unit).boundedTo(room))

    def _connect(self) -> None:
        for page in (self.area_page, self.grid_page, self.files_page, self.points_page):
            page.changed.connect(self._soon.start)
        self.folder.fileChanged.connect(lambda _: self._soon.start())
        self.files_page.selected.connect(self.sketch.select)
        self.sketch.chosen.connect(self.files_page.select)
        self.sketch.clicked.connect(self.points_page.local_clicked)
        self.points_page.wants_local.connect(lambda wanted: setattr(self.sketch, "waits_for_point", wanted))
        self.points_page.corners.clicked.connect(lambda _: self.points_page.add_corners(self.plan().size_m))
        self.points_page.take.clicked.disconnect()
        self.points_page.take.clicked.connect(lambda _: self.points_page.take_layer(self.area_page.area().area_id))
        self.write_button.clicked.connect(lambda _: self.write(False))
        self.read_button.clicked.connect(lambda _: self.write(True))

    # What is planned

    def plan(self):
        """The plan as it stands in the form."""
        return self.grid_page.plan(self.area_page.area())

    def update_plan(self) -> None:
        """Work out the lines, draw them, say what is missing, and look at the files in the background."""
        plan = self.plan()
        of_grid = [*self.grid_page.problems(), *check_plan(plan)]
        self.lines = [] if of_grid else self.files_page.assigned(plan_lines(plan))
        more = self.points_page.points(plan.area.area_id)[1]
        self.sketch.show_plan(plan.size_m, self.lines, points=self.points_page.local_points())
        self.files_page.show_lines(self.lines)
        said = [*self._problems_of_folder(plan.area.area_id), *of_grid, *more]
        if not said and not any(line.file for line in self.lines):
            said = [tr("No line has a file yet; choose the folder with the files.")]
        self.problem.setText(said[0] if said else "")
        for button in (self.write_button, self.read_button):
            button.setEnabled(not said and self._task is None)
        self._check_files(plan.area)

    def _problems_of_folder(self, area_id: str) -> List[str]:
        folder = self.folder.filePath().strip()
        if not folder:
            self.areas_there.setText("")
            return [tr("Choose the survey folder.")]
        try:
            there = known_area_ids(folder)
        except InslabError as error:
            return [str(error)]
        self.areas_there.setText(
            tr("Its areas so far: {areas}.", areas=", ".join(there)) if there else tr("A new survey.")
        )
        if area_id.lower() in {name.lower() for name in there}:
            return [tr("The survey already has an area {area}; give the new one another id.", area=area_id)]
        return []

    def _check_files(self, area) -> None:
        lines = [line for line in self.lines if line.file is not None]
        what = (area, tuple(lines))
        if what == self._looked_at:
            if self._found is not None:
                self._show_checks(self._found)
            return
        self._looked_at, self._found = what, None
        if self._check is not None:
            self._check.cancel()
            self._check = None
        if not lines:
            return

        def look(task):
            found = []
            for line in lines:
                if task.isCanceled():
                    return None
                found.append(check_file(area, line))
            return found, check_together(found)

        def looked(_error, found=None):
            if check is self._check:  # else the plan has changed since
                self._check, self._found = None, found
                self._show_checks(found)

        check = QgsTask.fromFunction(tr("Read line files"), look, on_finished=looked, flags=quiet_flags())
        self._check = check
        QgsApplication.taskManager().addTask(check)

    @property
    def is_checking(self) -> bool:
        return self._check is not None

    def _show_checks(self, found) -> None:
        if found is None:
            return
        checks, together = found
        self.files_page.show_checks(checks, together)
        self.sketch.bad = frozenset(number for number, one in enumerate(checks) if one.problem)
        self.sketch.update()

    # Writing

    def write(self, read_now: bool) -> None:
        """Add the area to the survey, in the background: its files may have to be copied."""
        folder, area = self.folder.filePath().strip(), self.area_page.area()
        points, _ = self.points_page.points(area.area_id)
        lines = list(self.lines)
        self._read_now = read_now

        def add(task):
            monitor = Monitor(lambda fraction: task.setProgress(100.0 * fraction), cancelled=task.isCanceled)
            return add_area(folder, area, lines, points, monitor)

        self._task = QgsTask.fromFunction(
            tr("Write area {area}", area=area.area_id), add, on_finished=self._added, flags=QgsTask.Flag.CanCancel
        )
        self._task.progressChanged.connect(lambda percent: self.progress.setValue(round(percent)))
        self.progress.show()
        for button in (self.write_button, self.read_button):
            button.setEnabled(False)
        QgsApplication.taskManager().addTask(self._task)

    def _added(self, error, added=None) -> None:
        self._task = None
        self.progress.hide()
        if error is not None or added is None:
            known = isinstance(error, InslabError)
            cancelled = error is None or isinstance(error, Cancelled)
            sentence = tr("Cancelled; the survey is as it was.") if cancelled else str(error)
            self.update_plan()
            self.problem.setText(
                sentence if known or cancelled else tr("The area cannot be written: {reason}", reason=error)
            )
            return
        area_id = self.area_page.area().area_id
        text = tr(
            "Area {area} is written: {lines}, {points}, {files}.",
            area=area_id,
            lines=trn("{count} line", "{count} lines", added.lines),
            points=trn("{count} control point", "{count} control points", added.control_points),
            files=trn("{count} file copied", "{count} files copied", added.copied),
        )
        self.files_page.clear()
        self.points_page.clear()
        self.area_page.next_area()
        self.update_plan()
        self.problem.setText(text)
        self.written.emit(self.folder.filePath().strip(), self._read_now)

    def done(self, result) -> None:
        """Closed: the map gets its tool back; writing is stopped and leaves nothing half done."""
        self._soon.stop()
        self.points_page.pairs.setChecked(False)
        for task in (self._check, self._task):
            if task is not None:
                task.cancel()
        super().done(result)


def _scrolling(page: QWidget) -> QScrollArea:
    """A page that scrolls where the screen is small."""
    area = QScrollArea()
    area.setWidget(page)
    area.setWidgetResizable(True)
    area.setFrameShape(QScrollArea.Shape.NoFrame)
    return area


def open_example(form: SetUpForm, folder, files, page: int) -> None:
    """Fill the form with a folder and its files and open a page; for pictures and tests."""
    form.folder.setFilePath(str(folder))
    form.files_page.folder.setFilePath(str(Path(files)))
    form.pages.setCurrentIndex(page)
    form.update_plan()
