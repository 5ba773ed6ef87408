"""A survey of tiny files, and hand-made results in the place of radar and detection: for tests of what is done with them."""

import csv
import itertools
import sys
from dataclasses import replace
from types import ModuleType, SimpleNamespace

import numpy as np

# Area: level, surface, site position of the local origin; all 0.4 m squares, none turned.
AREAS = {
    "A1": ("L1", "top", (10.0, 20.0)),
    "A2": ("L1", "top", (10.3, 20.0)),
    "S1": ("L1", "soffit", (10.4, 20.4)),
    "W1": ("L1", "wall", (10.0, 20.0)),
    "LOST": ("L1", "top", None),
}
SIZE, STEP = 0.4, 0.1
KINDS = {"bar": 0.7, "tendon": 0.1, "metal_conduit": 0.1, "plastic_conduit": 0.05, "unknown": 0.05}
BAR = ((0.0, 0.1, 0.05), (SIZE, 0.1, 0.06))  # local x, y and depth of its ends, metres


def write_survey(folder):
    """Writes a survey whose line files hold noise into the new folder `folder` and returns it."""
    from inslab.processing.survey.formats.segy import write_segy

    random = np.random.default_rng(5)
    (folder / "lines").mkdir(parents=True)
    areas, lines, points = [], [], []
    for area_id, (level, surface, origin) in AREAS.items():
        areas.append((area_id, level, surface, 0.06, 1500, "2031-05-04", "crew <1>", "dry"))
        for number, offset in enumerate(np.arange(0, SIZE + 0.01, STEP).round(3)):
            for name, start, end in (("x", (0, offset), (SIZE, offset)), ("y", (offset, 0), (offset, SIZE))):
                file = f"lines/{area_id}-{name}{number}.sgy"
                write_segy(folder / file, random.normal(size=(41, 128)).astype(np.float32), 0.05)
                lines.append((area_id, f"{name}{number}", file, "across", *start, *end))
        if origin:
            points += control_points(area_id, origin)
    for name, head, rows in (
        (
            "scan_areas",
            "area_id level surface antenna_separation_m centre_frequency_mhz scanned_on scanned_by note",
            areas,
        ),
        ("scan_lines", "area_id line_id file dipole_axis start_x_m start_y_m end_x_m end_y_m", lines),
    ):
        _write(folder / f"{name}.csv", head, rows)
    write_control_points(folder, points)
    return folder


def control_points(area_id, origin):
    """Rows of control points at the corners of an area whose local origin lies at `origin` on the site grid."""
    side = -1 if AREAS[area_id][1] == "soffit" else 1
    return [
        (area_id, f"P{x}{y}", x, y, round(origin[0] + x, 4), round(origin[1] + side * y, 4), 0.003)
        for x, y in ((0, 0), (SIZE, 0), (SIZE, SIZE), (0, SIZE))
    ]


def write_control_points(folder, rows):
    """(Re)writes the table of control points."""
    _write(folder / "control_points.csv", "area_id point_id local_x_m local_y_m site_x_m site_y_m sigma_m", rows)


def stand_in(monkeypatch, join=None):
    """Puts stand-ins in the place of radar and items: `calls.bars[area_id]` in each area, five picks each.

    `join` takes the place of `join_items`; without it the real one is used. Returns `calls`, in which a test can set
    `fail[area_id]` (an exception) and `bars`, and read what was `estimated`.

    Areas are computed in this process, where the stand-ins are, and nothing kept from an earlier run is taken
    (until a test calls `calls.keep_results()`).
    """
    from inslab.processing.area import cache, plain_data, runners
    from inslab.processing.common.monitor import Monitor
    from inslab.processing.items import known_depths  # noqa: F401 - loaded before its neighbours are replaced
    from inslab.processing.items.model import Item, Pick
    from inslab.processing.radar.model import DepthVolume, SlabBase, WaveSpeed

    plain_data.classes()  # loaded before their modules are replaced
    calls = SimpleNamespace(fail={}, estimated=[], bars={area_id: [BAR] for area_id in AREAS})
    monkeypatch.setattr(runners, "find_python", lambda: None)
    runs = itertools.count()
    make_key = cache.AreaCache.key
    make_cache = cache.AreaCache.__init__

    def new_cache(self, *given):
        make_cache(self, *given)
        self.run = next(runs)

    def other_key(self, task):
        return f"{self.run:04d}{make_key(self, task)}"

    monkeypatch.setattr(cache.AreaCache, "__init__", new_cache)
    monkeypatch.setattr(cache.AreaCache, "key", other_key)
    calls.keep_results = lambda: monkeypatch.setattr(cache.AreaCache, "key", make_key)
    x = np.linspace(0.005, 0.395, 40)

    def prepare_area(area, monitor=Monitor(), mending=None, decoded=None):
        if area.area_id in calls.fail:
            raise calls.fail[area.area_id]
        return SimpleNamespace(area=area, findings=())

    def estimate_wave_speed(prepared, monitor=Monitor()):
        calls.estimated.append(prepared.area.area_id)
        return WaveSpeed(prepared.area.area_id, 0.11, 0.001, 1.2, 0.01, "stand-in", 0.3, ("Check <this>.",))

    def check_focus(prepared, speed, base_m=None, monitor=Monitor()):
        return replace(speed, focus_speed_m_ns=0.112, focus_sigma_m_ns=0.005)

    def find_base(prepared, wave_speed, cell_m=0.01, monitor=Monitor()):
        thickness = np.full((40, 40), 0.25)
        return SlabBase(prepared.area.area_id, x, x, thickness, thickness * 0.02)

    def image_area(prepared, wave_speed, base, cell_m=0.01, depth_step_m=0.01, max_depth_m=None, monitor=Monitor()):
        depth = np.arange(6) * depth_step_m + depth_step_m / 2
        return DepthVolume(prepared.area.area_id, x, x, depth, np.full((40, 40, 6), 12.0, np.float32))

    def detect_items(prepared, wave_speed, slab_base, monitor=Monitor()):
        area_id = prepared.area.area_id
        picks, items = [], []
        for number, ends in enumerate(calls.bars[area_id], 1):
            name = f"{area_id}-{number}"
            items.append(Item(name, (area_id,), np.array(ends), KINDS, 0.9, 0.004, 0.003, 5, "Straight <and> level."))
            for line in range(5):
                place = np.array(ends[0]) + line / 4 * np.subtract(ends[1], ends[0])
                place[2] = ends[0][2]
                pick_id = f"{name}-{line}"
                of_pick = (pick_id, name, area_id, f"y{line}", *place.tolist())
                picks.append(Pick(*of_pick, 0.003, 0.002, -1, 20.0, float("nan")))
        return picks, items

    def reliable_depths(prepared, speed, base):
        return 0.35, ()

    stood_in = {
        "radar.preprocessing": [prepare_area],
        "speed.bar_echoes": [estimate_wave_speed],
        "speed.focusing": [check_focus],
        "radar.imaging": [find_base, image_area],
        "radar.reliable_depth": [reliable_depths],
        "items.detect": [detect_items],
    }
    if join is not None:
        stood_in["items.join"] = [join]
    for name, functions in stood_in.items():
        module = ModuleType(f"inslab.processing.{name}")
        for function in functions:
            setattr(module, function.__name__, function)
        monkeypatch.setitem(sys.modules, module.__name__, module)
    return calls


def _write(path, head, rows):
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([head.split(), *rows])
