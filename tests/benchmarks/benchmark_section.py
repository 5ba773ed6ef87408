"""How fast the section panel draws: frames per second while panning and zooming a line of 2,000 traces. Never asserted.

.venv/bin/python -m pytest -p no:pytest_qgis tests/benchmarks/benchmark_section.py -s
"""

import os
import time

import numpy as np
import pytest

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")  # no window is needed

TRACES, SAMPLES, FRAMES = 2000, 620, 60


@pytest.fixture(scope="module")
def view(qapp):
    """A view of one line of random echoes, with forty marks and an item's uncertainty on each."""
    from inslab.plugin.docks.section.marks import PICK, Mark
    from inslab.plugin.docks.section.view import SectionView
    from inslab.processing.survey.model import ScanLine
    from inslab.processing.views.radargrams import LinePicture, Panel
    from inslab.processing.views.section import Section
    from inslab.processing.views.section_path import SectionPath

    length, interval = 20.0, 0.0125
    line = ScanLine("A1", "x01", "across", None, (0, 0), (length, 0), TRACES, SAMPLES, interval)
    values = np.random.default_rng(1).normal(0, 1, (TRACES, SAMPLES)).astype(np.float32)
    distance = np.linspace(0, length, TRACES)
    panel = Panel("processed", values, distance, np.arange(SAMPLES) * interval - 0.4, 2.0)
    picture = LinePicture("A1", line, (panel,), (), 0.11, 0.001, 0.06, 0.4)
    path = SectionPath(np.array([(0.0, 0.0), (length, 0.0)]), np.array([0.0, length]))
    at = np.linspace(0, length, 1001)
    section = Section("x01", "L1", "top", path, (panel,), at, np.full(1001, 0.25), True, picture)
    view = SectionView()
    view.resize(1200, 420)
    view.show_section(section, 0)
    places = np.linspace(0.3, length - 0.3, 40)
    view.show_marks(
        [Mark(n, PICK if n % 2 else "bar", f"A1-{n}", x, 0.05 + 0.002 * n, 0.01, 0.005) for n, x in enumerate(places)]
    )
    yield view
    view.deleteLater()


def frames(view, change):
    """Median time of a frame, seconds, painted at once into a picture of the widget's size."""
    from qgis.PyQt.QtGui import QPixmap

    target = QPixmap(view.size())
    taken = []
    for number in range(FRAMES):
        change(number)
        start = time.perf_counter()
        view.render(target)
        taken.append(time.perf_counter() - start)
    return float(np.median(taken))


def test_drawing(view):
    from qgis.PyQt.QtGui import QColor, QPainter, QPixmap

    blank = QPixmap(view.size())
    start = time.perf_counter()
    for number in range(FRAMES):
        painter = QPainter(blank)
        painter.fillRect(view.rect(), QColor.fromHsv(number, 100, 200))
        painter.end()
    filling = (time.perf_counter() - start) / FRAMES

    def whole(number):
        view.show_all()
        view.shown.setTop(view.shown.top() + 1e-9 * (number + 1))  # another part each time: nothing kept can be used

    def point_at(number):
        view.show_cursor(0.1 * number)

    def zoom(number):
        view.zoom(1.25 if number % 2 else 0.8, view.plot.center())

    def pan(number):
        view.move_by(0.05 if number % 40 < 20 else -0.05, 0.0)

    view.show_all()
    rows = [("the whole line", frames(view, whole))]
    rows.append(("the cursor moving along it", frames(view, point_at)))
    view.show_cursor(None)
    view.zoom(4.0, view.plot.center())
    rows += [("zooming", frames(view, zoom)), ("panning, four times magnified", frames(view, pan))]
    view.zoom(5.0, view.plot.center())
    rows.append(("panning, twenty times magnified", frames(view, pan)))
    for name, seconds in rows:
        print(
            f"{TRACES} traces, {name}: {1000 * seconds:.1f} ms, {1 / seconds:.0f} frames a second, "
            f"{seconds / filling:.0f} times filling the widget"
        )
