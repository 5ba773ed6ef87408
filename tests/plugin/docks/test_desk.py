"""Toolbar, menu and panels: opened, hidden, and nothing left when the plugin is unloaded."""

import pytest
from qgis.PyQt.QtCore import QObject
from qgis.PyQt.QtWidgets import QAction, QDockWidget, QToolBar

from inslab.plugin.docks import desk as desks
from inslab.plugin.docks.registry import PANELS, PanelEntry


class Entry(PanelEntry):
    """A panel that is one empty dock."""

    def make(self, desk):
        return QDockWidget(desk.iface.mainWindow())


@pytest.fixture
def entries(monkeypatch):
    found = (Entry("one", "One", "First."), Entry("two", "Two", "Second."))
    monkeypatch.setattr(desks, "PANELS", found)
    return found


@pytest.fixture
def desk(entries, qgis_iface):
    made = desks.Desk(qgis_iface)
    yield made
    made.close()


def ours(window):
    return {
        child.objectName()
        for kind in (QDockWidget, QAction, QToolBar)
        for child in window.findChildren(kind)
        if child.objectName().startswith("Inslab")
    }


def test_a_panel_is_made_when_it_is_first_wanted(desk):
    assert [action.text() for action in desk.toolbar.actions()] == ["One", "Two"]
    assert [action.toolTip() for action in desk.toolbar.actions()] == ["First.", "Second."]
    desk.actions["one"].trigger()
    dock = desk.panel("one")
    assert dock.objectName() == "Inslab_one"
    assert not dock.isHidden()
    assert desk.panel("one") is dock
    desk.actions["one"].trigger()
    assert dock.isHidden()


def test_unloading_leaves_nothing(entries, qgis_iface, qtbot):
    window = qgis_iface.mainWindow()
    before = ours(window)
    made = desks.Desk(qgis_iface)
    made.show("one")
    gone = []
    made.panel("one").close_down = lambda: gone.append("one")
    assert ours(window) - before
    made.close()
    qtbot.waitUntil(lambda: ours(window) == before)
    assert gone == ["one"]


@pytest.mark.parametrize("entry", PANELS, ids=lambda entry: entry.name)
def test_every_panel_has_its_texts_and_a_drawing(entry):
    from qgis.PyQt.QtSvg import QSvgRenderer

    assert entry.title[0].isupper()
    assert entry.tip.endswith(".")
    assert QSvgRenderer(entry.icon_path, QObject()).isValid()
