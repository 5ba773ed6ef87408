"""A survey small enough for a test: two areas over the same two layers of bars.

Its traces come from the forward model of the sample project, which shares no code with what the plugin computes, so that what
is found can be compared with `BARS` and `SPEED_M_NS`.
"""

import csv
from pathlib import Path

import numpy as np

PERMITTIVITY = 7.0
SPEED_M_NS = 0.299792458 / PERMITTIVITY**0.5
TIME_ZERO_NS = 1.2
TRACE_STEP_M = 0.02
LINE_STEP_M = 0.10
SIZE_M = (0.8, 0.6)
# Local grid: bars across the x axis (x and depth to the top) and across the y axis (y and depth), metres.
BARS = {"x": ((0.20, 0.05), (0.40, 0.05), (0.60, 0.05)), "y": ((0.15, 0.065), (0.40, 0.065))}
BAR_DIAMETER_M = 0.012
SLAB_THICKNESS_M = 0.25
# Area: site position of the local origin (metres), direction of local x (degrees).
PLACES = {"A1": ((10.0, 20.0), 0.0), "A2": ((12.0, 20.5), 25.0)}


def small_survey(folder: Path) -> Path:
    """Write the survey into `folder` and return it; 16 lines for each dipole axis and area, 5 MB."""
    from inslab.processing.survey.formats.segy import write_segy

    (folder / "lines").mkdir(parents=True)
    random = np.random.default_rng(1)
    model, radar = _slab()
    areas, lines, points = [], [], []
    for area_id in PLACES:
        areas.append(
            (area_id, "Level 1", "top", radar.separation_m, 1000 * radar.centre_ghz, "2031-05-04", "a test", "")
        )
        for number, local in enumerate(((0, 0), (SIZE_M[0], 0), SIZE_M, (0, SIZE_M[1])), 1):
            site = to_site(area_id, local) + random.normal(0, 0.001, 2)
            points.append((area_id, f"P{number}", *local, *np.round(site, 4), 0.002))
    for line_id, start, end in _lines():
        for dipole_axis in ("across", "along"):
            waves = _traces(model, radar, start, end, dipole_axis)
            for area_id in PLACES:
                name = f"{area_id}-{line_id}-{dipole_axis}.sgy"
                noise = random.normal(0, 1e-3 * np.abs(waves).max(), waves.shape)
                write_segy(folder / "lines" / name, (waves + noise).astype(np.float32), radar.interval_ns)
                lines.append((area_id, line_id, f"lines/{name}", dipole_axis, *start, *end))
    _write(
        folder / "scan_areas.csv",
        "area_id level surface antenna_separation_m centre_frequency_mhz scanned_on scanned_by note",
        areas,
    )
    _write(folder / "scan_lines.csv", "area_id line_id file dipole_axis start_x_m start_y_m end_x_m end_y_m", lines)
    _write(folder / "control_points.csv", "area_id point_id local_x_m local_y_m site_x_m site_y_m sigma_m", points)
    return folder


def to_site(area_id: str, local) -> np.ndarray:
    """True site position of a local point, metres."""
    origin, degrees = PLACES[area_id]
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array(origin) + np.array([[cos, -sin], [sin, cos]]) @ np.array(local, float)


def true_speed(area_id: str):
    """The wave speed and time zero that the survey was made with, to spare a test their estimate."""
    from inslab.processing.radar.model import WaveSpeed

    return WaveSpeed(area_id, SPEED_M_NS, 0.001, TIME_ZERO_NS, 0.02, "true values")


def _lines():
    width, height = SIZE_M
    for number in range(round(height / LINE_STEP_M) + 1):
        y = round(number * LINE_STEP_M, 3)
        yield f"X{number:02d}", (0.0, y), (width, y)
    for number in range(round(width / LINE_STEP_M) + 1):
        x = round(number * LINE_STEP_M, 3)
        yield f"Y{number:02d}", (x, 0.0), (x, height)


def _slab():
    """The forward model of the slab, and its radar."""
    from inslab.sample_project.cast_in import CastIn
    from inslab.sample_project.forward import Radar, ScanModel
    from inslab.sample_project.materials import Concrete

    bars = []
    for axis, places in BARS.items():
        for number, (place, depth) in enumerate(places):
            ends = np.array([(place, -1.0, depth), (place, 2.0, depth)])
            vertices = ends if axis == "x" else ends[:, [1, 0, 2]]
            bars.append(CastIn(f"{axis}{number}", "bar", BAR_DIAMETER_M, vertices))
    radar = Radar()
    return ScanModel(radar, Concrete(PERMITTIVITY), SLAB_THICKNESS_M, bars), radar


def _traces(model, radar, start, end, dipole_axis):
    from inslab.sample_project.forward import to_traces

    travel = np.subtract(end, start) / np.linalg.norm(np.subtract(end, start))
    distances = np.linspace(0, np.linalg.norm(np.subtract(end, start)), round(np.ptp([start, end]) / TRACE_STEP_M) + 1)
    return to_traces(model.spectra(start + distances[:, None] * travel, travel, dipole_axis), radar, TIME_ZERO_NS)


def _write(path, columns, rows):
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(columns.split())
        writer.writerows(rows)
