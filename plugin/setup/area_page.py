"""First page: which area, and with what it was scanned."""

import re

from qgis.PyQt.QtCore import pyqtSignal
from qgis.PyQt.QtWidgets import QFormLayout, QWidget

from ...processing.common.language import tr
from ...processing.common.vocabulary.surfaces import SURFACES, is_elevation
from ...processing.survey.model import ScanArea
from . import fields


class AreaPage(QWidget):
    """The cells of a row of scan_areas.csv."""

    changed = pyqtSignal()

    def __init__(self):
        super().__init__()
        self.area_id = fields.text(
            tr("A name that no other area of the survey has; it becomes part of file names."), "A1"
        )
        self.level = fields.text(tr("The floor: areas of one level share one plan."), "Level 1")
        self.surface = fields.choice(
            [(key, surface.title) for key, surface in SURFACES.items()], tr("Which surface the antenna was moved over.")
        )
        self.wall = fields.text(tr("Name of the wall, as in walls.csv; only for a wall."))
        self.separation = fields.number(
            0.06,
            0.0,
            1.0,
            3,
            "m",
            tr("Between the centres of transmitter and receiver; from the antenna's data sheet."),
        )
        self.frequency = fields.number(
            1500.0, 100.0, 10000.0, 0, "MHz", tr("Centre frequency of the antenna; from its data sheet.")
        )
        self.instrument = fields.text(
            tr("Which instrument; areas with the same one share the scale of its survey wheel.")
        )
        self.thickness = fields.number(
            0.0,
            0.0,
            3.0,
            3,
            "m",
            tr("Nominal thickness of the slab, from a drawing; leave at 'not stated' if unknown."),
        )
        self.thickness.setSpecialValueText(tr("not stated"))
        self.scanned_on = fields.text(tr("Day of the scan; any text."), "2031-05-04")
        self.scanned_by = fields.text(tr("Who scanned."))
        self.note = fields.text(tr("Anything worth knowing later."))
        form = QFormLayout(self)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        for words, field in (
            (tr("Area id"), self.area_id),
            (tr("Level"), self.level),
            (tr("Surface"), self.surface),
            (tr("Wall"), self.wall),
            (tr("Antenna separation"), self.separation),
            (tr("Centre frequency"), self.frequency),
            (tr("Instrument"), self.instrument),
            (tr("Slab thickness"), self.thickness),
            (tr("Scanned on"), self.scanned_on),
            (tr("Scanned by"), self.scanned_by),
            (tr("Note"), self.note),
        ):
            form.addRow(words, field)
        for line in (self.area_id, self.level, self.wall, self.instrument, self.scanned_on, self.scanned_by, self.note):
            line.textChanged.connect(lambda _: self.changed.emit())
        for box in (self.separation, self.frequency, self.thickness):
            box.valueChanged.connect(lambda _: self.changed.emit())
        self.surface.currentIndexChanged.connect(self._surface_changed)
        self._surface_changed()

    def _surface_changed(self, *_) -> None:
        self.wall.setEnabled(is_elevation(self.surface.currentData()))
        self.changed.emit()

    def area(self) -> ScanArea:
        """The area as it stands in the form."""
        extra = {}
        if is_elevation(self.surface.currentData()) and self.wall.text().strip():
            extra["wall"] = self.wall.text().strip()
        if self.instrument.text().strip():
            extra["instrument"] = self.instrument.text().strip()
        if self.thickness.value():
            extra["slab_thickness_m"] = f"{self.thickness.value():g}"
        return ScanArea(
            self.area_id.text().strip(),
            self.level.text().strip(),
            self.surface.currentData(),
            round(self.separation.value(), 3),
            self.frequency.value(),
            self.scanned_on.text().strip(),
            self.scanned_by.text().strip(),
            self.note.text().strip(),
            extra=extra,
        )

    def next_area(self) -> None:
        """After an area was written: the next id, all else as it was."""
        self.area_id.setText(next_id(self.area_id.text()))


def next_id(area_id: str) -> str:
    """The number at the end of a name raised by one, with as many digits: A09 becomes A10."""
    found = re.fullmatch(r"(.*?)(\d+)", area_id)
    if not found:
        return f"{area_id}2" if area_id else ""
    head, digits = found.groups()
    return f"{head}{int(digits) + 1:0{len(digits)}d}"
