"""Help is opened where a person asks for it: dialogs, panels, the form, the menu, F1."""

from pathlib import Path

import pytest
from qgis.PyQt.QtCore import Qt, QUrl
from qgis.PyQt.QtTest import QTest
from qgis.PyQt.QtWidgets import QAction, QDialogButtonBox, QLineEdit, QMainWindow, QToolButton

from inslab.plugin import help as help_pages
from inslab.plugin.docks.registry import PANELS
from inslab.processing.common import language


@pytest.fixture
def opened(monkeypatch):
    """Names of the pages that would have been shown."""
    names = []

    class Desktop:
        @staticmethod
        def openUrl(url):
            names.append(Path(url.toLocalFile()).stem)
            return True

    monkeypatch.setattr(help_pages, "QDesktopServices", Desktop)
    return names


def test_the_help_button_of_an_algorithm_leads_to_its_page(inslab_provider):
    for one in inslab_provider.algorithms():
        page = Path(QUrl(one.helpUrl()).toLocalFile())
        assert page.is_file()
        assert one.displayName() in page.read_text(encoding="utf-8")


@pytest.fixture
def desk(qgis_iface):
    from inslab.plugin.docks.desk import Desk

    made = Desk(qgis_iface)
    yield made
    made.close()


@pytest.mark.parametrize("name", [entry.name for entry in PANELS])
def test_a_panel_has_a_button_and_f1(name, desk, opened):
    dock = desk.show(name)
    (button,) = dock.findChildren(QToolButton, help_pages.BUTTON)
    button.click()
    QTest.keyClick(button, Qt.Key.Key_F1)
    assert opened == [name, name]


def test_the_form_has_a_button_and_f1(qgis_iface, opened):
    from inslab.plugin.setup.form import SetUpForm

    form = SetUpForm(qgis_iface.mainWindow(), qgis_iface.mapCanvas())
    form.findChild(QDialogButtonBox).button(QDialogButtonBox.StandardButton.Help).click()
    QTest.keyClick(form.area_page.area_id, Qt.Key.Key_F1)
    assert opened == ["set_up_form", "set_up_form"]
    form.close()


def test_f1_elsewhere_stays_with_qgis(qtbot, opened):
    window = QMainWindow()
    qtbot.addWidget(window)
    inside, outside = QLineEdit(window), QLineEdit(window)
    action, pressed = QAction(window), []
    action.setShortcut(Qt.Key.Key_F1)
    action.triggered.connect(lambda: pressed.append("QGIS"))
    window.addAction(action)
    help_pages.HelpKey(inside, "index")
    with qtbot.waitExposed(window):
        window.show()
    for field in (inside, outside):
        field.setFocus()
        qtbot.keyClick(field, Qt.Key.Key_F1)
    assert opened == ["index"]
    assert pressed == ["QGIS"]


def test_the_menu_opens_the_first_page(desk, opened):
    desk._help.trigger()
    assert opened == ["index"]


def test_without_a_browser_the_page_is_named(qgis_iface, monkeypatch):
    class Desktop:
        openUrl = staticmethod(lambda url: False)

    said = []
    monkeypatch.setattr(help_pages, "QDesktopServices", Desktop)
    monkeypatch.setattr(help_pages.utils, "iface", qgis_iface)
    monkeypatch.setattr(qgis_iface.messageBar(), "pushWarning", lambda title, text: said.append(text), raising=False)
    help_pages.open_page("limits")
    assert str(help_pages.PAGES / "limits.html") in said[0]


def test_a_translated_page_is_taken_where_there_is_one(tmp_path, monkeypatch):
    (tmp_path / "de").mkdir()
    (tmp_path / "de" / "readsurvey.html").touch()
    monkeypatch.setattr(help_pages, "PAGES", tmp_path)
    monkeypatch.setattr(language, "current", lambda: "de")
    assert help_pages.page_path("readsurvey") == tmp_path / "de" / "readsurvey.html"
    assert help_pages.page_path("limits") == tmp_path / "limits.html"
