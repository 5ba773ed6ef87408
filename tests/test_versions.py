"""Code that runs on the oldest supported Python and on Qt 6, as far as its text tells; numpy 2 is left to ruff (NPY201)."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PLUGIN_FILES = sorted((ROOT / "plugin").rglob("*.py"))
# Gone in Qt 6 (https://doc.qt.io/qt-6/portingguide.html and the module pages it leads to) or in PyQt6
# (https://www.riverbankcomputing.com/static/Docs/PyQt6/pyqt5_differences.html), as known in 2026.
GONE = {
    *(
        "exec_",
        "print_",
        "QVariant",
        "QRegExp",
        "QRegExpValidator",
        "QDesktopWidget",
        "QTextCodec",
        "QStringRef",
        "QMatrix",
    ),
    *(
        "QGLWidget",
        "QSignalMapper",
        "QFileSystemModel",
        "QUndoStack",
        "QWebView",
        "QWebEngineView",
        "pyqtSlotDisconnect",
    ),
    *("globalPos", "globalX", "globalY", "localPos", "windowPos", "screenPos", "posF", "setTabStopWidth", "MidButton"),
    *("toTime_t", "setTime_t", "fromTime_t", "setResizeMode"),
}
# QGIS's own module has it under QtWidgets with Qt 5 and Qt 6; PyQt5 does not know it anywhere else.
FROM_WIDGETS = {"QAction", "QActionGroup", "QShortcut"}
# Their overloads went.
SIGNALS = {"activated", "clicked", "triggered", "currentIndexChanged", "highlighted", "buttonClicked", "valueChanged"}


def gone_in_qt6(source):
    """Yield 'line: name' of what Qt 6 does not have or has elsewhere."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("qgis"):
            for alias in node.names:
                moved = alias.name in FROM_WIDGETS and node.module != "qgis.PyQt.QtWidgets"
                if alias.name in GONE or moved or node.module == "qgis.PyQt.QtWebKitWidgets":
                    yield f"{node.lineno}: {alias.name}"
        elif isinstance(node, ast.Attribute):
            owner = node.value
            is_metrics = isinstance(owner, ast.Call) and getattr(owner.func, "attr", "") == "fontMetrics"
            if node.attr in GONE or (node.attr == "width" and is_metrics):  # horizontalAdvance since Qt 5.11
                yield f"{node.lineno}: {node.attr}"
        elif isinstance(node, ast.Subscript) and getattr(node.value, "attr", "") in SIGNALS:
            yield f"{node.lineno}: {node.value.attr}[...]"


@pytest.mark.parametrize("file", PLUGIN_FILES, ids=lambda file: file.relative_to(ROOT).as_posix())
def test_nothing_that_qt_6_no_longer_has(file):
    assert list(gone_in_qt6(file.read_text(encoding="utf-8"))) == []


def test_the_check_sees_what_is_gone():
    source = """from qgis.PyQt.QtGui import QAction
from qgis.PyQt.QtCore import QVariant
dialog.exec_()
dialog.exec()
self.fontMetrics().width("a")
box.activated[str]
event.globalPos()
"""
    assert sorted(gone_in_qt6(source)) == [
        "1: QAction",
        "2: QVariant",
        "3: exec_",
        "5: width",
        "6: activated[...]",
        "7: globalPos",
    ]


def test_the_standard_library_is_that_of_python_3_9(tmp_path):
    """Vermin knows since when each function and each construct is there."""
    pytest.importorskip("vermin", reason="vermin 1.6 does not run on Python 3.14; the run on an older one looks")

    def vermin(*paths):
        command = [sys.executable, "-c", "import vermin; vermin.main()", "-t=3.9-", "--no-tips", "--violations", *paths]
        return subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=300, check=False)

    run = vermin("__init__.py", "processing", "plugin")
    assert run.returncode == 0, run.stdout
    assert "Minimum required versions: 3." in run.stdout
    newer = tmp_path / "newer.py"
    newer.write_text("list(zip([], [], strict=True))\n", encoding="utf-8")
    assert vermin(str(newer)).returncode != 0
