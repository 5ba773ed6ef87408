"""The help: pages that lie beside the plugin (`help/pages`), opened in the browser from dialogs, panels and the menu."""

from pathlib import Path

from qgis import utils
from qgis.PyQt.QtCore import QEvent, QObject, Qt, QUrl
from qgis.PyQt.QtGui import QDesktopServices
from qgis.PyQt.QtWidgets import QToolButton, QWidget

from ..processing.common import language
from ..processing.common.language import tr

PAGES = Path(__file__).parent.parent / "help" / "pages"
START = "index"
BUTTON = "InslabHelp"  # object name of the buttons


def page_path(name: str) -> Path:
    """The page of an algorithm, a panel or a subject, in the language in use where there is one, else in English."""
    translated = PAGES / language.current() / f"{name}.html"
    return translated if language.current() and translated.is_file() else PAGES / f"{name}.html"


def page_url(name: str) -> QUrl:
    """The same as an address that a browser opens."""
    return QUrl.fromLocalFile(str(page_path(name)))


def open_page(name: str = START) -> None:
    """Show a page in the browser of the desktop; without one, say where the page lies."""
    if not QDesktopServices.openUrl(page_url(name)):
        sentence = tr("No web browser could be started; the help page is the file {file}.", file=page_path(name))
        utils.iface.messageBar().pushWarning("Inslab", sentence)


def help_button(name: str) -> QToolButton:
    """The small button of a panel that opens its page."""
    button = QToolButton()
    button.setObjectName(BUTTON)
    button.setText("?")
    button.setAutoRaise(True)
    button.setToolTip(tr("Help on this panel (F1)."))
    button.setAccessibleName(tr("Help on this panel (F1)."))
    button.clicked.connect(lambda _checked: open_page(name))
    return button


class HelpKey(QObject):
    """F1 in a panel or dialog opens its page.

    QGIS has F1 for a help of its own; a second shortcut beside it would leave both without effect. So the key is claimed on
    its way (`ShortcutOverride`), and only where the focus is inside the widget.
    """

    def __init__(self, widget: QWidget, name: str):
        super().__init__(widget)
        self.name = name
        widget.installEventFilter(self)

    def eventFilter(self, watched, event) -> bool:
        kinds = (QEvent.Type.ShortcutOverride, QEvent.Type.KeyPress)
        if event.type() not in kinds or event.key() != Qt.Key.Key_F1:
            return False
        event.accept()
        if event.type() == QEvent.Type.KeyPress:
            open_page(self.name)
        return True
