"""A survey small enough for a test: two areas over one bar mat, computed from hyperbolas in a second.

The echo of a bar is a Ricker wavelet delayed by the two-leg path of separated dipoles over the wave speed; nothing of the
plugin's own mathematics is used, so that what it finds can be compared with `BARS`.
"""

import csv
from pathlib import Path

import numpy as np

SPEED_M_NS = 0.11
TIME_ZERO_NS = 1.2
SEPARATION_M = 0.06
FREQUENCY_GHZ = 1.6
INTERVAL_NS = 0.05
SAMPLES = 200
TRACE_STEP_M = 0.01
LINE_STEP_M = 0.10
SIZE_M = (0.8, 0.6)
# Local grid: bars across the x axis (x and depth to the top) and across the y axis (y and depth), metres.
BARS = {"x": ((0.20, 0.06), (0.40, 0.06), (0.60, 0.06)), "y": ((0.15, 0.085), (0.40, 0.085))}
BAR_RADIUS_M = 0.006
# Area: site position of the local origin (metres), direction of local x (degrees).
PLACES = {"A1": ((10.0, 20.0), 0.0), "A2": ((12.0, 20.5), 25.0)}


def small_survey(folder: Path) -> Path:
    """Write the survey into `folder` and return it; 16 lines for each dipole axis and area, about 4 MB."""
    from inslab.processing.survey.segy import write_segy

    lines_folder = folder / "lines"
    lines_folder.mkdir(parents=True)
    random = np.random.default_rng(1)
    areas, lines, points = [], [], []
    for area_id in PLACES:
        areas.append((area_id, "Level 1", "top", SEPARATION_M, 1000 * FREQUENCY_GHZ, "2031-05-04", "a test", ""))
        for line_id, axis, start, end in _lines():
            for dipole_axis in ("across", "along"):
                name = f"{area_id}-{line_id}-{dipole_axis}.sgy"
                write_segy(lines_folder / name, _traces(axis, start, end, dipole_axis, random), INTERVAL_NS)
                lines.append((area_id, line_id, f"lines/{name}", dipole_axis, *start, *end))
        for number, local in enumerate(((0, 0), (SIZE_M[0], 0), SIZE_M, (0, SIZE_M[1])), 1):
            site = to_site(area_id, local) + random.normal(0, 0.001, 2)
            points.append((area_id, f"P{number}", *local, *np.round(site, 4), 0.002))
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


def _lines():
    width, height = SIZE_M
    for number in range(round(height / LINE_STEP_M) + 1):
        y = round(number * LINE_STEP_M, 3)
        yield f"X{number:02d}", "x", (0.0, y), (width, y)
    for number in range(round(width / LINE_STEP_M) + 1):
        x = round(number * LINE_STEP_M, 3)
        yield f"Y{number:02d}", "y", (x, 0.0), (x, height)


def _traces(axis, start, end, dipole_axis, random):
    length = np.hypot(end[0] - start[0], end[1] - start[1])
    along = np.linspace(0, length, round(length / TRACE_STEP_M) + 1)
    time = np.arange(SAMPLES) * INTERVAL_NS
    traces = np.tile(8.0 * _ricker(time - TIME_ZERO_NS - SEPARATION_M / 0.299792458), (len(along), 1))
    # A bar that is crossed at right angles lies along the dipoles when these are across the line: then it shines.
    strength = 1.0 if dipole_axis == "across" else 0.25
    for position, depth in BARS[axis]:
        axis_depth = depth + BAR_RADIUS_M
        # The pair is broadside: the dipoles stand beside each other, so across the line they are apart along it.
        if dipole_axis == "across":
            legs = [np.hypot(along - position + side * SEPARATION_M / 2, axis_depth) for side in (-1, 1)]
            path = legs[0] + legs[1] - 2 * BAR_RADIUS_M
        else:
            path = np.hypot(2 * (np.hypot(along - position, axis_depth) - BAR_RADIUS_M), SEPARATION_M)
        delay = TIME_ZERO_NS + path / SPEED_M_NS
        traces -= strength * (0.12 / path)[:, None] * _ricker(time[None] - delay[:, None])
    return (traces + random.normal(0, 0.004, traces.shape)).astype(np.float32)


def _ricker(time_ns):
    square = (np.pi * FREQUENCY_GHZ * time_ns) ** 2
    return (1 - 2 * square) * np.exp(-square)


def _write(path, columns, rows):
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(columns.split())
        writer.writerows(rows)
