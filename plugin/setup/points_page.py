"""Fourth page: control points, typed, clicked in pairs, or taken from a point layer."""

from typing import List, Optional, Tuple

from qgis.core import QgsMapLayerProxyModel, QgsProject
from qgis.gui import QgsMapLayerComboBox, QgsMapToolEmitPoint
from qgis.PyQt.QtCore import pyqtSignal
from qgis.PyQt.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from ...processing.common.errors import ProcessingError
from ...processing.common.language import tr
from ...processing.survey.model import ControlPoint
from ..plain_text import plain_label
from . import fields
from .site_place import on_site

COLUMNS = (tr("Point"), tr("local x (m)"), tr("local y (m)"), tr("site x (m)"), tr("site y (m)"), tr("sigma (m)"))
NAME, LOCAL_X, LOCAL_Y, SITE_X, SITE_Y, SIGMA = range(len(COLUMNS))
WORDS = dict(zip(("local_x_m", "local_y_m", "site_x_m", "site_y_m", "sigma_m"), COLUMNS[1:]))


class PointsPage(QWidget):
    """The rows of control_points.csv of one area."""

    changed = pyqtSignal()
    wants_local = pyqtSignal(bool)

    def __init__(self, canvas):
        super().__init__()
        self.canvas = canvas
        self._tool: Optional[QgsMapToolEmitPoint] = None
        self._earlier_tool = None
        self.sigma = fields.number(0.003, 0.0001, 10.0, 4, "m", tr("1-sigma of the site coordinates of new points."))
        self.layer = QgsMapLayerComboBox()
        self.layer.setFilters(QgsMapLayerProxyModel.Filter.PointLayer)
        self.layer.setAllowEmptyLayer(True)
        self.layer.setCurrentIndex(0)
        self.layer.setToolTip(
            tr(
                "Points with the fields point_id, local_x_m, local_y_m and, optionally, area_id, sigma_m, site_x_m, "
                "site_y_m."
            )
        )
        self.take = fields.button(
            tr("Import"), tr("Add the points of this layer that belong to the area."), self.take_layer
        )
        self.add = fields.button(tr("Add"), tr("Add an empty row to fill in."), lambda: self.add_row())
        self.corners = fields.button(tr("Corners"), tr("Add a row for each corner of the grid."), lambda: None)
        self.pairs = fields.button(
            tr("Click pairs"), tr("Click a point in the sketch, then the same point on the map.")
        )
        self.pairs.setCheckable(True)
        self.pairs.toggled.connect(self._click_pairs)
        self.remove = fields.button(tr("Remove"), tr("Remove the selected row."), self._remove)
        self.sentence = plain_label()
        self.sentence.setToolTip(tr("What control points are for."))
        self.table = QTableWidget(0, len(COLUMNS))
        self.table.setHorizontalHeaderLabels(COLUMNS)
        self.table.setToolTip(
            tr("Points known in the area's own grid and on the site grid; site coordinates as on the map.")
        )
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.verticalHeader().setVisible(False)
        self.table.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        self.table.itemChanged.connect(lambda _: self._say())
        from_layer = QHBoxLayout()
        from_layer.addWidget(self.layer, 1)
        from_layer.addWidget(self.take)
        rows = ((tr("sigma of new points"), self.sigma), (tr("From a layer"), from_layer))
        fields.lay_out_table(self, rows, (self.add, self.corners, self.pairs, self.remove), self.sentence, self.table)
        self._say()

    # Rows

    def add_row(self, name="", local=("", ""), site=("", ""), sigma: Optional[float] = None) -> int:
        """Add a row and return its number; empty cells are for the user."""
        row = self.table.rowCount()
        self.table.blockSignals(True)
        self.table.insertRow(row)
        values = (name or self._free_name(), *local, *site, self.sigma.value() if sigma is None else sigma)
        for column, value in enumerate(values):
            self.table.setItem(row, column, QTableWidgetItem(value if isinstance(value, str) else f"{value:.10g}"))
        self.table.blockSignals(False)
        self._say()
        return row

    def add_corners(self, size_m: Tuple[float, float]) -> None:
        """A row for each corner of the grid, in the order in which one walks round it."""
        for x, y in ((0.0, 0.0), (size_m[0], 0.0), size_m, (0.0, size_m[1])):
            self.add_row(local=(x, y))

    def clear(self) -> None:
        """No points any more."""
        self.table.setRowCount(0)
        self.pairs.setChecked(False)
        self._say()

    def points(self, area_id: str) -> Tuple[List[ControlPoint], List[str]]:
        """The control points as they stand in the table, and sentences on rows that cannot be used."""
        found, said = [], []
        for row in range(self.table.rowCount()):
            cells = [self._cell(row, column) for column in range(len(COLUMNS))]
            try:
                numbers = [float(cell.replace(",", ".")) for cell in cells[1:]]
            except ValueError:
                name = cells[NAME] or str(row + 1)
                said.append(tr("Control point {name} has a missing or invalid number.", name=name))
                continue
            found.append(
                ControlPoint(area_id, cells[NAME], (numbers[0], numbers[1]), (numbers[2], numbers[3]), numbers[4])
            )
        return found, said

    def local_points(self) -> List[Tuple[str, Tuple[float, float]]]:
        """Name and local place of each row that has one, for the sketch."""
        found = []
        for row in range(self.table.rowCount()):
            place = [_number(self._cell(row, column).replace(",", ".")) for column in (LOCAL_X, LOCAL_Y)]
            if None not in place:
                found.append((self._cell(row, NAME), (place[0], place[1])))
        return found

    def _cell(self, row: int, column: int) -> str:
        item = self.table.item(row, column)
        return item.text().strip() if item is not None else ""

    def _free_name(self) -> str:
        taken = {self._cell(row, NAME) for row in range(self.table.rowCount())}
        return next(name for name in (f"P{n}" for n in range(1, len(taken) + 2)) if name not in taken)

    def _remove(self) -> None:
        for row in sorted({index.row() for index in self.table.selectedIndexes()}, reverse=True):
            self.table.removeRow(row)
        self._say()

    def _say(self) -> None:
        count = self.table.rowCount()
        few = tr(
            "At least two points, better four at the corners, place the area on the site grid; without them it has "
            "no position."
        )
        self.sentence.setText(few if count < 2 else tr("{count} control points.", count=count))
        self.changed.emit()

    # From a layer

    def take_layer(self, area_id: str = "") -> None:
        """Add the points of the layer that is chosen; of other areas than `area_id` only where the layer tells them apart."""
        layer = self.layer.currentLayer()
        if layer is None:
            return
        names = {field.name().lower(): field.name() for field in layer.fields()}
        missing = [name for name in ("local_x_m", "local_y_m") if name not in names]
        if missing:
            self.sentence.setText(tr("The layer lacks the field {field}.", field=missing[0]))
            return
        rows = []
        for feature in layer.getFeatures():
            value = {name: feature[own] for name, own in names.items()}
            if area_id and "area_id" in value and str(value["area_id"]) != area_id:
                continue
            try:
                site = self._site_of(feature, value, layer.crs())
            except ProcessingError as error:
                self.sentence.setText(str(error))
                return
            sigma = _number(value.get("sigma_m"))
            name = str(value.get("point_id") or "")
            rows.append((name, (_text(value["local_x_m"]), _text(value["local_y_m"])), site, sigma))
        for row in rows:
            self.add_row(*row)

    def _site_of(self, feature, value, crs) -> Tuple[str, str]:
        """Site coordinates: those that stand in fields, else the point's own, converted to the site grid."""
        if _number(value.get("site_x_m")) is not None and _number(value.get("site_y_m")) is not None:
            return _text(value["site_x_m"]), _text(value["site_y_m"])
        if not feature.hasGeometry():
            return "", ""
        x, y = on_site(QgsProject.instance(), feature.geometry().asPoint(), crs)
        return f"{x:.4f}", f"{y:.4f}"

    # Clicked pairs

    def _click_pairs(self, wanted: bool) -> None:
        self.wants_local.emit(wanted)
        if wanted:
            self.sentence.setText(tr("Click the point in the sketch."))
        elif self._tool is not None:
            self.canvas.unsetMapTool(self._tool)
            if self._earlier_tool is not None:
                self.canvas.setMapTool(self._earlier_tool)
            self._tool = None
            self._say()

    def local_clicked(self, x: float, y: float) -> None:
        """The first half of a pair; the map is asked for the other."""
        row = self.add_row(local=(x, y))
        self.sentence.setText(tr("Now click {name} on the map.", name=self._cell(row, NAME)))
        if self._tool is None:
            self._earlier_tool = self.canvas.mapTool()
            self._tool = QgsMapToolEmitPoint(self.canvas)
            self._tool.canvasClicked.connect(self.site_clicked)
        self.canvas.setMapTool(self._tool)

    def site_clicked(self, place, _button=None) -> None:
        """The other half, in the map's coordinates: it belongs to the last row that lacks it."""
        try:
            x, y = on_site(QgsProject.instance(), place, self.canvas.mapSettings().destinationCrs())
        except ProcessingError as error:
            self.sentence.setText(str(error))
            return
        for row in range(self.table.rowCount() - 1, -1, -1):
            if not self._cell(row, SITE_X):
                self.table.item(row, SITE_X).setText(f"{x:.4f}")
                self.table.item(row, SITE_Y).setText(f"{y:.4f}")
                self.sentence.setText(tr("Click the next point in the sketch, or switch off 'Click pairs'."))
                return


def _number(value) -> Optional[float]:
    """A field's number; None for NULL, which differs between versions of QGIS."""
    try:
        return float(value)
    except (TypeError, ValueError):
        return None


def _text(value) -> str:
    number = _number(value)
    return "" if number is None else f"{number:.10g}"
