"""The plugin's place in the window of QGIS: one toolbar, one menu, and the panels that they open."""

from typing import Dict

from qgis.core import QgsApplication
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtGui import QIcon
from qgis.PyQt.QtWidgets import QAction, QDockWidget

from ...processing.common.language import tr
from ..help import HelpKey, open_page
from .registry import PANELS

MENU = "Inslab"


class Desk:
    """Toolbar, menu and panels; `close` takes all of it away again.

    A panel reaches QGIS by `desk.iface` and the other panels by `desk.panel(name)`. It may have a method `close_down`, called
    before it is deleted, to disconnect from the project and the map.
    """

    def __init__(self, iface):
        self.iface = iface
        self.actions: Dict[str, QAction] = {}
        self._docks: Dict[
            str, QDockWidget
        ] = {}  # without a reference of ours, overridden methods silently stop being called
        self.toolbar = iface.addToolBar("Inslab")
        self.toolbar.setObjectName("InslabToolbar")
        for entry in PANELS:
            action = QAction(QIcon(entry.icon_path), entry.title, iface.mainWindow())
            action.setObjectName(f"Inslab_{entry.name}_action")
            action.setToolTip(entry.tip)
            action.setCheckable(True)
            action.triggered.connect(lambda checked, name=entry.name: self._toggle(name, checked))
            self.toolbar.addAction(action)
            iface.addPluginToMenu(MENU, action)
            self.actions[entry.name] = action
        self._help = QAction(QgsApplication.getThemeIcon("/mActionHelpContents.svg"), tr("Help"), iface.mainWindow())
        self._help.triggered.connect(lambda _checked: open_page())
        iface.addPluginToMenu(MENU, self._help)

    def panel(self, name: str) -> QDockWidget:
        """The panel of that name, made if it is not there yet; not necessarily visible."""
        if name not in self._docks:
            entry = next(entry for entry in PANELS if entry.name == name)
            dock = entry.make(self)
            dock.setObjectName(f"Inslab_{name}")
            dock.setWindowTitle(entry.title)
            HelpKey(dock, name)
            self.iface.addDockWidget(getattr(dock, "AREA", Qt.DockWidgetArea.RightDockWidgetArea), dock)
            dock.toggleViewAction().toggled.connect(self.actions[name].setChecked)
            self._docks[name] = dock
        return self._docks[name]

    def show(self, name: str) -> QDockWidget:
        """Open the panel, in front of those that share its place."""
        dock = self.panel(name)
        dock.setUserVisible(True) if hasattr(dock, "setUserVisible") else dock.show()
        dock.raise_()
        self.actions[name].setChecked(True)
        return dock

    def close(self) -> None:
        """Leave nothing of the plugin in the window; a second call finds nothing to do."""
        if self.toolbar is None:
            return
        for dock in self._docks.values():
            getattr(dock, "close_down", lambda: None)()
            self.iface.removeDockWidget(dock)
            dock.deleteLater()
        self._docks.clear()
        for action in self.actions.values():
            self.iface.removePluginMenu(MENU, action)
            self.toolbar.removeAction(action)
            action.deleteLater()
        self.actions.clear()
        self.iface.removePluginMenu(MENU, self._help)
        self._help.deleteLater()
        self.iface.mainWindow().removeToolBar(self.toolbar)
        self.toolbar.deleteLater()
        self.toolbar = None

    def _toggle(self, name: str, wanted: bool) -> None:
        if wanted:
            self.show(name)
        elif name in self._docks:
            self._docks[name].close()
