"""Colours that a panel paints with, against WCAG 2.1 (W3C Recommendation, 2018)."""

import pytest
from qgis.PyQt.QtGui import QColor, QPalette

from inslab.plugin.styles.ink import READABLE, contrast, ink


def test_contrast_is_that_of_wcag():
    assert contrast(QColor("#000000"), QColor("#ffffff")) == pytest.approx(21.0)
    assert contrast(QColor("#777777"), QColor("#777777")) == pytest.approx(1.0)
    # The lightest grey that passes on white is #767676 (4.54), and #777777 fails (4.48): well known, from memory.
    assert contrast(QColor("#767676"), QColor("#ffffff")) == pytest.approx(4.54, abs=0.01)
    assert contrast(QColor("#ffffff"), QColor("#777777")) == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("ground", ["#ffffff", "#efefef", "#323232", "#000000"])
@pytest.mark.parametrize("text", ["#000000", "#5a5a5a", "#ffffff"])
def test_ink_can_be_read_on_any_theme(qgis_app, ground, text):
    palette = QPalette()
    for role in (QPalette.ColorRole.WindowText, QPalette.ColorRole.Text, QPalette.ColorRole.ButtonText):
        palette.setColor(role, QColor(text))
    palette.setColor(QPalette.ColorRole.Window, QColor(ground))
    found = ink(palette)
    assert contrast(found, QColor(ground)) >= READABLE
    if contrast(QColor(text), QColor(ground)) >= READABLE:
        assert found == QColor(text)  # the theme's own wherever it can be read
