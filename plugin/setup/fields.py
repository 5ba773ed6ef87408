"""Small helpers for the pages of the form."""

from qgis.gui import QgsFileWidget
from qgis.PyQt.QtWidgets import (
    QComboBox,
    QDoubleSpinBox,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
)


def number(value: float, low: float, high: float, decimals: int, unit: str, tip: str) -> QDoubleSpinBox:
    """A number with its unit."""
    box = QDoubleSpinBox()
    box.setRange(low, high)
    box.setDecimals(decimals)
    box.setSingleStep(10.0 ** (1 - decimals) if decimals else 100.0)
    box.setSuffix(f" {unit}")
    box.setValue(value)
    box.setToolTip(tip)
    return box


def text(tip: str, placeholder: str = "") -> QLineEdit:
    """One line of text."""
    line = QLineEdit()
    line.setToolTip(tip)
    line.setPlaceholderText(placeholder)
    return line


def choice(entries, tip: str) -> QComboBox:
    """One of several; `entries` are (value, words on screen)."""
    box = QComboBox()
    for value, words in entries:
        box.addItem(words, value)
    box.setToolTip(tip)
    box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
    box.setMinimumContentsLength(12)
    box.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
    return box


def folder(tip: str) -> QgsFileWidget:
    """A folder."""
    chooser = QgsFileWidget()
    chooser.setStorageMode(QgsFileWidget.StorageMode.GetDirectory)
    chooser.setToolTip(tip)
    return chooser


def button(words: str, tip: str, pressed=None) -> QToolButton:
    """A plain button; `pressed` is called without arguments."""
    made = QToolButton()
    made.setText(words)
    made.setToolTip(tip)
    if pressed is not None:
        made.clicked.connect(lambda _checked=False: pressed())
    return made


def lay_out_table(page, rows, buttons, sentence, table) -> None:
    """A page with a table: above it named rows (words, field or layout), a line of buttons and a sentence."""
    form = QFormLayout()
    form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
    for words, entry in rows:
        form.addRow(words, entry)
    line = QHBoxLayout()
    for one in buttons:
        line.addWidget(one)
    line.addStretch(1)
    layout = QVBoxLayout(page)
    layout.addLayout(form)
    layout.addLayout(line)
    layout.addWidget(sentence)
    layout.addWidget(table, 1)
