"""Write the sample survey: tables, line files, drawings, planned penetrations, and the truth beside them."""

import csv
import json
from dataclasses import asdict

import numpy as np

from ..processing.survey.formats.segy import write_segy
from . import building, drawings, penetrations, scan_plan, scanned_plan
from .clutter import Stones, clutter_spectra, draw_stones
from .forward import Radar, ScanModel, sorts_of, to_traces
from .instrument import DIRECT_PEAK_COUNTS, NOISE_DB, TIME_ZERO_NS, draw_line_errors, draw_position_error, record
from .scan_plan import AREAS, Area, control_points, lines_of

RADAR = Radar()
DIPOLE_AXES = ("across", "along")


def write_sample(folder):
    """Write everything into an existing empty folder."""
    truth = write_survey(folder)
    slab = building.slab_objects()
    truth["penetrations"] = [penetrations.penetration_truth(hole, slab) for hole in penetrations.PENETRATIONS]
    _write_table(folder / "penetrations.csv", penetrations.COLUMNS, penetrations.table_rows())
    drawings.write_dxf(folder / "floor_plan.dxf")
    scanned_plan.write_png(folder / "floor_plan.png")
    scanned_plan.write_control(folder / "plan_control.csv")
    (folder / "truth.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")


def write_survey(folder, areas=AREAS):
    """Write the three tables and all line files of the given areas. Returns the truth."""
    (folder / "lines").mkdir()
    line_rows, line_truth = [], {}
    for area in areas:
        rows, truth = write_area(folder, area)
        line_rows += rows
        line_truth[area.area_id] = truth
    _write_table(folder / "scan_lines.csv", LINE_COLUMNS, line_rows)
    _write_table(folder / "scan_areas.csv", AREA_COLUMNS, [_area_row(area) for area in areas])
    _write_table(folder / "control_points.csv", CONTROL_COLUMNS, [row for area in areas for row in _control_rows(area)])
    return _truth(areas, line_truth)


def write_area(folder, area: Area):
    """Write the line files of one area. Returns its rows for scan_lines.csv and its entries for truth.json."""
    wall = area.surface == "wall"
    objects = building.wall_objects() if wall else building.slab_objects()
    model = ScanModel(RADAR, area.concrete, area.thickness_m, area.objects_in_scan(objects), sorts_of(objects))
    stones = _stones_of(area, building.SEED + 500 if wall else building.SEED)
    # One setting of the instrument for the whole job: dry concrete gives the stated peak.
    reference = ScanModel(RADAR, building.SLAB_CONCRETE, building.SLAB_THICKNESS_M, [])
    peak = np.abs(to_traces((reference.pulse * reference.direct())[None], RADAR, TIME_ZERO_NS)).max()

    lines = lines_of(area)
    number = int(area.area_id[1:])
    errors = [draw_position_error(_random(number, n)) for n in range(len(lines))]
    truth = [_line_truth(area, line, error) for line, error in zip(lines, errors)]
    rows = []
    for direction in ("x", "y"):
        chosen = [n for n, line in enumerate(lines) if line.line_id[0] == direction]
        places = [
            np.asarray(lines[n].start_m) + errors[n].true_distances(lines[n].distances_m)[:, None] * lines[n].travel
            for n in chosen
        ]
        for axis_number, axis in enumerate(DIPOLE_AXES):
            # All parallel lines at once: the echoes of one object are quickest in one go.
            travel = lines[chosen[0]].travel
            spectra = model.spectra(np.concatenate(places), travel, axis)
            starts = np.cumsum([0] + [len(place) for place in places])
            for n, place, start in zip(chosen, places, starts):
                part = spectra[start : start + len(place)] + clutter_spectra(model, stones, place, travel, axis)
                random = _random(number, n, axis_number + 1)
                drawn = draw_line_errors(random)
                waves = to_traces(part, RADAR, TIME_ZERO_NS + drawn.time_zero_shift_ns) / peak
                counts = record(waves, lines[n].distances_m, RADAR.interval_ns, drawn, random)
                name = f"lines/{area.area_id}_{lines[n].line_id}_{axis}.sgy"
                _write_line(folder / name, area, lines[n], axis, counts)
                rows.append(_line_row(area, lines[n], axis, name))
                truth[n]["files"][axis] = _file_truth(name, drawn)
    return sorted(rows, key=lambda row: (row[1], row[3])), truth


def _stones_of(area: Area, seed) -> Stones:
    corners = area.to_site(area.corners())
    stones = draw_stones(corners.min(axis=0) - 0.3, corners.max(axis=0) + 0.3, area.thickness_m, seed)
    depth = area.depth_from_surface(stones.positions_m[:, 2])
    return Stones(np.c_[area.to_local(stones.positions_m[:, :2]), depth], stones.strengths_m)


def _random(*numbers):
    return np.random.default_rng([building.SEED, *numbers])


def _write_line(path, area: Area, line, axis, counts):
    positions = None
    if area.with_positions:
        positions = np.asarray(line.start_m) + line.distances_m[:, None] * line.travel
    text = "\n".join(
        [
            f"INVENTED SAMPLE: {building.JOB}".upper(),
            f"AREA {area.area_id} LINE {line.line_id}, DIPOLES {axis.upper()} THE DIRECTION OF TRAVEL",
            "COMPUTED RADAR TRACES, NOT A RECORDING",
        ]
    )
    write_segy(
        path, counts, RADAR.interval_ns, sample_format=area.sample_format, positions_m=positions, text_header=text
    )


AREA_COLUMNS = (
    "area_id", "level", "surface", "antenna_separation_m", "centre_frequency_mhz", "scanned_on", "scanned_by", "note",
)  # fmt: skip
LINE_COLUMNS = ("area_id", "line_id", "file", "dipole_axis", "start_x_m", "start_y_m", "end_x_m", "end_y_m")
CONTROL_COLUMNS = ("area_id", "point_id", "local_x_m", "local_y_m", "site_x_m", "site_y_m", "sigma_m")


def _area_row(area: Area):
    separation, frequency = f"{RADAR.separation_m:.3f}", f"{1000 * RADAR.centre_ghz:.0f}"
    return area.area_id, area.level, area.surface, separation, frequency, area.scanned_on, "crew 2", area.note


def _line_row(area: Area, line, axis, name):
    return area.area_id, line.line_id, name, axis, *(f"{value:.3f}" for value in (*line.start_m, *line.end_m))


def _control_rows(area: Area):
    for point_id, local, site in control_points(area, _random(int(area.area_id[1:]), 999)):
        yield (
            area.area_id, point_id, f"{local[0]:.3f}", f"{local[1]:.3f}", f"{site[0]:.4f}", f"{site[1]:.4f}",
            f"{scan_plan.CONTROL_SIGMA_M:.3f}",
        )  # fmt: skip


def _write_table(path, columns, rows):
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(columns)
        writer.writerows(rows)


def _line_truth(area: Area, line, error):
    return {
        "area_id": area.area_id,
        "line_id": line.line_id,
        "axis": line.line_id[0],
        "nominal_start": list(line.start_m),
        "nominal_end": list(line.end_m),
        "traces": len(line.distances_m),
        "start_offset_m": error.start_offset_m,
        "scale_error": error.scale,
        "files": {},
    }


def _file_truth(name, drawn):
    entries = {key: round(float(value), 6) for key, value in asdict(drawn).items()}
    return {"file": name, "time_zero_ns": round(TIME_ZERO_NS + drawn.time_zero_shift_ns, 6), **entries}


def _truth(areas, line_truth):
    """The truth: floor scanned from its top at the first level, soffit and wall as parts of the same form."""
    slab, wall = building.slab_objects(), building.wall_objects()

    def part(surface, objects):
        chosen = [area for area in areas if area.surface == surface]
        near = [item for item in objects if scan_plan.near_any(item, chosen)]
        return {
            "objects": [_object_truth(item, surface == "soffit") for item in near],
            "areas": [_area_truth(area) for area in chosen],
            "lines": [entry for area in chosen for entry in line_truth[area.area_id]],
        }

    return {
        "survey": building.JOB,
        "note": "an invented job in an invented building; computed data",
        "slab": _medium_truth(building.SLAB_CONCRETE, building.SLAB_THICKNESS_M),
        **part("top", slab),
        "soffit": {
            "slab": _medium_truth(building.SLAB_CONCRETE, building.SLAB_THICKNESS_M),
            **part("soffit", slab),
        },
        "wall": {
            "slab": _medium_truth(building.WALL_CONCRETE, building.WALL_THICKNESS_M),
            **part("wall", wall),
        },
        "object_note": "vertices are site x, site y and depth of the TOP below the scanned surface (slab top, soffit, wall face)",
        "area_note": "site = R(rotation, counter-clockwise) * local + (tx, ty); where mirrored, R * (-x, y) + (tx, ty)",
        "line_note": "true distance along the line = start_offset_m + nominal distance * (1 + scale_error); both dipole axes of "
        "a line are one pass",
        "instrument": {
            "seed": building.SEED,
            "sample_interval_ns": RADAR.interval_ns,
            "samples": RADAR.sample_count,
            "nominal_time_zero_ns": TIME_ZERO_NS,
            "direct_wave_peak_counts": DIRECT_PEAK_COUNTS,
            "noise_db_re_direct_peak": NOISE_DB,
            "time_zero_note": "instant in the record at which the centre of the emitted Ricker pulse is at the transmitter",
        },
    }  # fmt: skip


def _medium_truth(concrete, thickness_m):
    return {
        "thickness_m": thickness_m,
        "below": "air",
        "eps_r": concrete.relative_permittivity,
        "loss_factor": concrete.loss_factor,
        "velocity_m_per_ns": round(concrete.velocity_m_per_ns, 6),
    }


def _area_truth(area: Area):
    return {
        "area_id": area.area_id,
        "surface": area.surface,
        "mirrored": area.mirrored,
        "rotation_deg": area.rotation_deg,
        "tx": area.shift_m[0],
        "ty": area.shift_m[1],
        "size_m": list(area.size_m),
        "line_spacing_m": area.line_spacing_m,
        "trace_spacing_m": scan_plan.TRACE_SPACING_M,
        **_medium_truth(area.concrete, area.thickness_m),
        "site_corners": np.round(area.to_site(area.corners()), 5).tolist(),
    }


def _object_truth(item, from_below):
    vertices = item.vertices_m.copy()
    if from_below:
        vertices[:, 2] = building.SLAB_THICKNESS_M - vertices[:, 2] - item.diameter_m
    return {
        "id": item.object_id,
        "kind": item.kind,
        "diameter_m": item.diameter_m,
        "polyline_site_x_y_topdepth_m": np.round(vertices, 5).tolist(),
    }
