#!/usr/bin/python3
"""How true the stated uncertainties are, on simulated slabs: calibration.py [SLABS [SEED]]

Draws slabs that differ in wave speed, cover, bars (straight or crooked, one left out), line spacing, noise, frequency and antenna
separation; scans each with the forward model of the sample; finds the items with nothing but the recorded traces; and compares
every point of every item with the truth. Prints tables in Markdown: wave speed and time zero of each slab, and for each kind of
object and of slab the share found, the errors, how much of the truth the stated 95 per cent intervals hold, and the stated sigma
over the RMS error. docs/calibration.md is such a printout. Stopped with Ctrl+C, it prints the tables of the slabs done.
"""

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, List

import numpy as np

SIZE_M = (1.0, 0.8)
TRACE_STEP_M = 0.02
THICKNESS_M = 0.25
STEP_M = 0.01
# What counts as the same object: lateral and depth distance, metres, and the sine of the angle.
SAME_M, SAME_SINE = 0.025, 0.35
FROM_EDGE_M = 0.05


def load_package():
    """The plugin under its name, without its folder on sys.path."""
    import importlib.util

    root = Path(__file__).resolve().parent.parent
    if "inslab" not in sys.modules:
        spec = importlib.util.spec_from_file_location(
            "inslab", root / "__init__.py", submodule_search_locations=[str(root)]
        )
        module = importlib.util.module_from_spec(spec)
        sys.modules["inslab"] = module
        spec.loader.exec_module(module)


@dataclass(frozen=True)
class Slab:
    """One slab and how it is scanned. `radar` is a forward.Radar, `objects` are CastIn in the local grid."""

    objects: List[Any]
    radar: Any
    permittivity: float
    spacing_m: float
    noise_db: float
    crooked: bool
    bar_left_out: bool

    @property
    def groups(self):
        """What the second table tells apart."""
        yield f"lines {100 * self.spacing_m:.0f} cm apart"
        yield f"{self.radar.centre_ghz:.1f} GHz, dipoles {1000 * self.radar.separation_m:.0f} mm apart"
        yield "crooked bars" if self.crooked else "straight bars"


def draw_slab(random) -> Slab:
    from inslab.sample_project.cast_in import CastIn
    from inslab.sample_project.forward import Radar

    objects = []
    crooked, bar_left_out = bool(random.integers(2)), bool(random.integers(2))

    def add(kind, diameter, start, end, count=2, sag=0.0, crook=None):
        share = np.linspace(0, 1, count)[:, None]
        vertices = np.array(start) * (1 - share) + np.array(end) * share
        vertices[:, 2] += 4 * sag * (share * (1 - share))[:, 0]
        if crook is not None:
            vertices[:, :2] += crook * np.sin(2 * np.pi * (share * random.uniform(1.5, 3.0) + random.uniform()))
        objects.append(CastIn(f"{kind}-{len(objects)}", kind, diameter, vertices))

    def add_bar(diameter, start, end, sideways):
        # Hand-bent: 3 mm to either side over 1 to 2 m, as a straight bar lies anyway within a millimetre.
        crook = np.array(sideways) * abs(random.normal(0.0, 0.003)) if crooked else None
        add("bar", diameter, start, end, count=61 if crooked else 2, crook=crook)

    skew = np.tan(np.radians(random.uniform(-5, 5)))
    cover = random.uniform(0.025, 0.055)
    low, high = -1.0, 2.0
    for depth, spacing in (
        (cover, random.uniform(0.12, 0.20)),
        (random.uniform(0.175, 0.20), random.uniform(0.15, 0.25)),
    ):
        diameter = random.choice([0.008, 0.010, 0.012, 0.016, 0.020])
        places = np.arange(-0.3 + random.uniform(0, spacing), 1.3, spacing)
        left_out = np.argmin(np.abs(places - 0.45)) if bar_left_out and depth == cover else -1
        for number, place in enumerate(places):
            below = depth + diameter
            if number != left_out:
                add_bar(diameter, (place + skew * low, low, below), (place + skew * high, high, below), (1, 0))
            add_bar(diameter, (low, place - skew * low, depth), (high, place - skew * high, depth), (0, 1))
    middle = random.uniform(0.3, 0.6)
    lean = np.tan(np.radians(random.uniform(15, 30))) * random.choice([-1, 1])
    kind, diameter = (("metal_conduit", 0.020), ("plastic_conduit", 0.025))[random.integers(2)]
    add(kind, diameter, (low, middle + lean * (low - 0.5), 0.097), (high, middle + lean * (high - 0.5), 0.097))
    place = random.uniform(0.3, 0.7)
    # The area lies near one support, where a tendon drapes most.
    add("tendon", 0.018, (place, -0.8, 0.105), (place, 5.2, 0.105), 241, sag=random.uniform(0.04, 0.05))
    centre, separation = ((1.5, 0.06), (1.5, 0.06), (2.0, 0.05), (1.2, 0.07))[random.integers(4)]
    return Slab(
        objects,
        Radar(centre_ghz=centre, separation_m=separation),
        random.uniform(5.0, 9.0),
        float(random.choice([0.05, 0.10])),
        float(random.uniform(-64.0, -54.0)),
        crooked,
        bar_left_out,
    )


def write_slab(folder, slab: Slab, seed, size_m=SIZE_M, trace_step_m=TRACE_STEP_M):
    """One scan area C1 of the slab as a survey folder; returns the true mean time zero, ns."""
    from inslab.processing.survey.formats.segy import write_segy
    from inslab.sample_project import instrument
    from inslab.sample_project.clutter import clutter_spectra, draw_stones
    from inslab.sample_project.forward import ScanModel, to_traces
    from inslab.sample_project.materials import Concrete

    random = np.random.default_rng([seed, 2])
    radar = slab.radar
    model = ScanModel(radar, Concrete(slab.permittivity), THICKNESS_M, slab.objects)
    stones = draw_stones((-0.3, -0.3), (size_m[0] + 0.3, size_m[1] + 0.3), THICKNESS_M, seed)
    peak = np.abs(to_traces((model.pulse * model.direct())[None], radar, instrument.TIME_ZERO_NS)).max()
    (folder / "lines").mkdir(parents=True)
    rows, zeros = [], []
    for direction, (length, across) in enumerate((size_m, size_m[::-1])):
        travel = np.eye(2)[direction]
        for number in range(int(round(across / slab.spacing_m)) + 1):
            start = np.eye(2)[1 - direction] * number * slab.spacing_m
            nominal = np.linspace(0, length, int(round(length / trace_step_m)) + 1)
            position = instrument.draw_position_error(random)
            midpoints = start + position.true_distances(nominal)[:, None] * travel
            for axis in ("across", "along"):
                errors = instrument.draw_line_errors(random)
                spectra = model.spectra(midpoints, travel, axis)
                spectra = spectra + clutter_spectra(model, stones, midpoints, travel, axis)
                zero = instrument.TIME_ZERO_NS + errors.time_zero_shift_ns
                waves = to_traces(spectra, radar, zero) / peak
                traces = instrument.record(waves, nominal, radar.interval_ns, errors, random)
                extra = 10 ** (slab.noise_db / 10) - 10 ** (instrument.NOISE_DB / 10)
                traces += instrument.DIRECT_PEAK_COUNTS * random.normal(0, np.sqrt(max(extra, 0)), traces.shape)
                name = f"lines/{'xy'[direction]}{number:02d}-{axis}.sgy"
                write_segy(folder / name, traces.astype(np.float32), radar.interval_ns)
                end = start + length * travel
                rows.append(f"C1,{'xy'[direction]}{number:02d},{name},{axis},{start[0]},{start[1]},{end[0]},{end[1]}")
                zeros.append(zero)
    (folder / "scan_areas.csv").write_text(
        "area_id,level,surface,antenna_separation_m,centre_frequency_mhz,scanned_on,scanned_by,note\n"
        f"C1,L1,top,{radar.separation_m},{1000 * radar.centre_ghz},2031-01-01,simulation,\n",
        encoding="utf-8",
    )
    header = "area_id,line_id,file,dipole_axis,start_x_m,start_y_m,end_x_m,end_y_m\n"
    (folder / "scan_lines.csv").write_text(header + "\n".join(rows) + "\n", encoding="utf-8")
    return float(np.median(zeros))


def points_along(vertices, from_edge_m=FROM_EDGE_M):
    """Points every 10 mm along a polyline (n, 3), those this far inside the area only, and unit tangents in plan."""
    from inslab.processing.geometry.polylines import points_at, stations_m

    vertices = np.asarray(vertices, float)
    way = stations_m(vertices)
    where = np.arange(STEP_M / 2, way[-1], STEP_M)
    points = points_at(vertices, where)
    index = np.clip(np.searchsorted(way, where, side="right") - 1, 0, len(vertices) - 2)
    tangent = vertices[index + 1, :2] - vertices[index, :2]
    tangent = tangent / np.hypot(*tangent.T)[:, None]
    inside = np.all((points[:, :2] > from_edge_m) & (points[:, :2] < np.array(SIZE_M) - from_edge_m), axis=1)
    return points[inside], tangent[inside]


def compare(objects, items):
    """Rows of (class, found, lateral error, depth error, sigma_xy, sigma_depth, kind right) for each true point."""
    found = [(item, *points_along(item.vertices_m)) for item in items]
    rows, false, total = [], 0, 0
    truth = []
    for one in objects:
        truth.append(points_along(one.vertices_m, -SAME_M))
        points, tangents = points_along(one.vertices_m)
        if not len(points):
            continue
        name = one.kind if one.kind != "bar" else ("upper mat" if points[:, 2].mean() < 0.1 else "lower mat")
        for point, tangent in zip(points, tangents):
            best = None
            for item, own, directions in found:
                if not len(own):
                    continue
                apart = own[:, :2] - point[:2]
                across = apart @ np.array([-tangent[1], tangent[0]])
                near = np.abs(apart @ tangent) < STEP_M
                near &= (np.abs(across) < SAME_M) & (np.abs(own[:, 2] - point[2]) < SAME_M)
                near &= np.abs(directions[:, 0] * tangent[1] - directions[:, 1] * tangent[0]) < SAME_SINE
                for k in np.flatnonzero(near):
                    cost = abs(across[k]) + abs(own[k, 2] - point[2])
                    if best is None or cost < best[0]:
                        right = item.kind == one.kind
                        best = cost, across[k], own[k, 2] - point[2], item.sigma_xy_m, item.sigma_depth_m, right
            rows.append((name, best is not None, *(best[1:] if best else (np.nan,) * 5)))
    for _, own, directions in found:
        for point, direction in zip(own, directions):
            total += 1
            false += not any(
                np.any(
                    (np.hypot(*(points[:, :2] - point[:2]).T) < SAME_M)
                    & (np.abs(points[:, 2] - point[2]) < SAME_M)
                    & (np.abs(tangents[:, 0] * direction[1] - tangents[:, 1] * direction[0]) < SAME_SINE)
                )
                for points, tangents in truth
            )
    return rows, false, total


CLASSES = ("upper mat", "lower mat", "tendon", "metal_conduit", "plastic_conduit")


def print_errors(title, names, rows):
    """One table of errors; rows as `compare` makes them, their first entry being the name."""
    print(
        f"\n| {title} | length m | found % | kind right % | lateral RMS mm | in 95 % | sigma / RMS | depth bias mm "
        "| depth RMS mm | in 95 % | sigma / RMS |"
    )
    print("| --- " * 11 + "|")
    for name in names:
        own = [row for row in rows if row[0] == name]
        seen = np.array([row[2:] for row in own if row[1]], float)
        if not len(seen):
            continue
        lateral, depth, sigma_xy, sigma_z, right = seen.T

        def cells(error, sigma):
            rms, stated = np.sqrt(np.mean(error**2)), np.sqrt(np.mean(sigma**2))
            return f"{1000 * rms:.1f} | {100 * np.mean(np.abs(error) <= 1.96 * sigma):.0f} | {stated / rms:.1f}"

        print(
            f"| {name.replace('_', ' ')} | {len(own) * STEP_M:.1f} | {100 * len(seen) / len(own):.1f} | "
            f"{100 * right.mean():.0f} | {cells(lateral, sigma_xy)} | {1000 * depth.mean():+.1f} | {cells(depth, sigma_z)} |"
        )


def main(slabs=8, seed=1):
    load_package()
    print(
        "| slab | permittivity | GHz | lines cm | noise dB | bars | speed error % | stated 1 sigma % | time zero error ps "
        "| stated 1 sigma ps |"
    )
    print("| --- " * 10 + "|")
    by_class, by_slab, false, total = [], [], 0, 0
    try:
        for number in range(slabs):
            slab = draw_slab(np.random.default_rng([seed, number]))
            rows, own_false, own_total = scan_and_compare(slab, number, seed)
            by_class += rows
            by_slab += [(group, *row[1:]) for group in slab.groups for row in rows]
            false, total = false + own_false, total + own_total
    except KeyboardInterrupt:
        print(f"\nStopped in slab {number + 1}: the tables are those of the slabs before it.")
    print_errors("class", CLASSES, by_class)
    print_errors("slabs", sorted({row[0] for row in by_slab}), by_slab)
    print(f"\nFalse length: {100 * false / max(total, 1):.1f} % of {total * STEP_M:.0f} m of items.")


def scan_and_compare(slab: Slab, number, seed):
    """What `compare` says of one slab; prints its row of the first table."""
    from inslab.processing.items.detect import detect_items
    from inslab.processing.radar.imaging import find_base
    from inslab.processing.radar.preprocessing import prepare_area
    from inslab.processing.speed.bar_echoes import estimate_wave_speed
    from inslab.processing.survey.read import read_survey

    with tempfile.TemporaryDirectory() as folder:
        true_zero = write_slab(Path(folder), slab, 1000 * seed + number)
        prepared = prepare_area(read_survey(folder).areas[0])
        speed = estimate_wave_speed(prepared)
        _, items = detect_items(prepared, speed, find_base(prepared, speed))
    true_speed = 0.299792458 / np.sqrt(slab.permittivity)
    bars = ("crooked" if slab.crooked else "straight") + (", one left out" if slab.bar_left_out else "")
    print(
        f"| {number + 1} | {slab.permittivity:.1f} | {slab.radar.centre_ghz:.1f} | {100 * slab.spacing_m:.0f} | "
        f"{slab.noise_db:.0f} | {bars} | "
        f"{100 * (speed.speed_m_ns / true_speed - 1):+.1f} | {100 * speed.sigma_m_ns / speed.speed_m_ns:.1f} | "
        f"{1000 * (speed.time_zero_ns - true_zero):+.0f} | {1000 * speed.sigma_time_zero_ns:.0f} |",
        flush=True,
    )
    return compare(slab.objects, items)


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:3]))
