"""Second page: size of the grid and its lines."""

from typing import FrozenSet, Optional, Tuple

from qgis.PyQt.QtCore import pyqtSignal
from qgis.PyQt.QtWidgets import QCheckBox, QFormLayout, QGroupBox, QSpinBox, QVBoxLayout, QWidget

from ...processing.common.language import tr
from ...processing.survey.grid_plan import AXIS_BY_AXIS, LINE_BY_LINE, MOST_LINES, GridPlan, LineSet
from ...processing.survey.model import ScanArea
from . import fields

AXES = (
    (("across",), tr("across the direction of travel")),
    (("along",), tr("along the direction of travel")),
    (("across", "along"), tr("both, across first")),
    (("along", "across"), tr("both, along first")),
)
ORDERS = (
    (LINE_BY_LINE, tr("line by line, with all its dipole axes")),
    (AXIS_BY_AXIS, tr("all lines with one dipole axis, then the other")),
)
FIRST = (("xy", tr("lines along x")), ("yx", tr("lines along y")))
OTHER = {"x": "y", "y": "x"}


class LineSetBox(QGroupBox):
    """The lines of one direction."""

    changed = pyqtSignal()

    def __init__(self, direction: str):
        super().__init__(tr("Lines along {direction}", direction=direction))
        self.direction = direction
        self.setCheckable(True)
        self.setToolTip(tr("Switch off where no line runs along {direction}.", direction=direction))
        other = OTHER[direction]
        self.spacing = fields.number(0.1, 0.001, 100.0, 3, "m", tr("Between neighbouring lines."))
        self.first = fields.number(
            0.0, 0.0, 1000.0, 3, "m", tr("From the grid's origin to the first line, along {axis}.", axis=other)
        )
        self.count = QSpinBox()
        self.count.setRange(0, MOST_LINES)
        self.count.setSpecialValueText(tr("as many as fit"))
        self.count.setToolTip(tr("How many lines; 0 for as many as the grid holds."))
        self.axes = fields.choice(AXES, tr("How the dipoles lay; with two dipole axes every line has two files."))
        self.alternating = QCheckBox(tr("Every second line was walked in reverse"))
        self.alternating.setToolTip(tr("Lines 2, 4, 6 … run towards the origin."))
        self.turned = fields.text(tr("Numbers of lines that were walked the other way: 3, 5-7."), tr("none"))
        form = QFormLayout(self)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        form.addRow(tr("Spacing"), self.spacing)
        form.addRow(tr("First line at"), self.first)
        form.addRow(tr("Number"), self.count)
        form.addRow(tr("Dipole axis"), self.axes)
        form.addRow(self.alternating)
        form.addRow(tr("Reversed lines"), self.turned)
        for signal in (
            self.toggled,
            self.spacing.valueChanged,
            self.first.valueChanged,
            self.count.valueChanged,
            self.axes.currentIndexChanged,
            self.alternating.toggled,
            self.turned.textChanged,
        ):
            signal.connect(lambda _: self.changed.emit())

    def line_set(self) -> Optional[LineSet]:
        """The lines as they stand in the form; None where the direction is switched off."""
        if not self.isChecked():
            return None
        return LineSet(
            self.direction,
            round(self.spacing.value(), 3),
            round(self.first.value(), 3),
            self.axes.currentData(),
            self.alternating.isChecked(),
            parse_numbers(self.turned.text())[0],
            self.count.value() or None,
        )

    def problem(self) -> str:
        """A sentence where the turned lines cannot be read."""
        strange = parse_numbers(self.turned.text())[1] if self.isChecked() else ""
        if not strange:
            return ""
        return tr("Reversed lines: '{given}' is not a line number; write for example 3, 5-7.", given=strange)


class GridPage(QWidget):
    """Size, directions and the order in which the lines were walked."""

    changed = pyqtSignal()

    def __init__(self):
        super().__init__()
        self.size_x = fields.number(1.0, 0.01, 1000.0, 3, "m", tr("Length of the grid along its own x."))
        self.size_y = fields.number(1.0, 0.01, 1000.0, 3, "m", tr("Length of the grid along its own y."))
        self.sets = {direction: LineSetBox(direction) for direction in "xy"}
        self.first = fields.choice(FIRST, tr("Which direction was scanned first: its files come first."))
        self.order = fields.choice(ORDERS, tr("Order of the files where there are two dipole axes."))
        top = QFormLayout()
        top.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        top.addRow(tr("Size along x"), self.size_x)
        top.addRow(tr("Size along y"), self.size_y)
        top.addRow(tr("Scanned first"), self.first)
        top.addRow(tr("Order of files"), self.order)
        layout = QVBoxLayout(self)
        layout.addLayout(top)
        for box in self.sets.values():
            layout.addWidget(box)
            box.changed.connect(self.changed)
        layout.addStretch(1)
        for signal in (
            self.size_x.valueChanged,
            self.size_y.valueChanged,
            self.first.currentIndexChanged,
            self.order.currentIndexChanged,
        ):
            signal.connect(lambda _: self.changed.emit())

    def plan(self, area: ScanArea) -> GridPlan:
        """The plan as it stands in the form."""
        found = [self.sets[direction].line_set() for direction in self.first.currentData()]
        size = (round(self.size_x.value(), 3), round(self.size_y.value(), 3))
        return GridPlan(area, size, tuple(one for one in found if one is not None), self.order.currentData())

    def problems(self):
        """Sentences on what cannot be read."""
        return [sentence for sentence in (box.problem() for box in self.sets.values()) if sentence]


def parse_numbers(text: str) -> Tuple[FrozenSet[int], str]:
    """Numbers written as '3, 5-7', and the first piece that is none."""
    numbers = set()
    for piece in text.replace(";", ",").split(","):
        low, dash, high = (part.strip() for part in piece.partition("-"))
        if not low and not dash:
            continue
        if not low.isdecimal() or (dash and not high.isdecimal()) or int(high or low) > MOST_LINES:
            return frozenset(numbers), piece.strip()
        numbers.update(range(int(low), int(high or low) + 1))
    return frozenset(numbers), ""
