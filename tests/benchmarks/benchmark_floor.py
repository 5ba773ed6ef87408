"""A big floor: areas a minute, peak memory against the number of areas, and the time as a multiple of reading the files.

    .venv/bin/python tests/benchmarks/benchmark_floor.py 5 20 200

Each area has 26 passes of 240 traces and 512 samples with both dipole axes over two mats of bars, a conduit and a tendon. All areas
share the files of one, to spare the disk; each is computed for itself, because results are kept for each area id.
"""

import csv
import importlib
import resource
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
import conftest  # noqa: F401 - makes the package importable
import numpy as np

from inslab.processing.steps.processsurvey import process_survey_step
from inslab.processing.survey.formats.registry import read_traces

TRACES, SAMPLES, SIZE_M, STEP_M = 240, 512, 1.2, 0.1


def write_one(folder):
    """A survey of one area, by the forward model of the sample; about a minute."""
    slabs = importlib.import_module("inslab.sample_project.calibration")
    slab = slabs.draw_slab(np.random.default_rng(1))
    radar = replace(slab.radar, sample_count=SAMPLES)
    slabs.write_slab(folder, replace(slab, radar=radar, spacing_m=STEP_M), 1, (SIZE_M, SIZE_M), SIZE_M / (TRACES - 1))


def write_floor(folder, one, count):
    """The survey of `count` areas like that in the folder `one`, in rows of twenty."""
    with (one / "scan_areas.csv").open(encoding="utf-8") as file:
        (area,) = csv.DictReader(file)
    with (one / "scan_lines.csv").open(encoding="utf-8") as file:
        own_lines = list(csv.DictReader(file))
    areas, lines, points = [], [], []
    for number in range(count):
        area_id = f"A{number:03d}"
        areas.append({**area, "area_id": area_id})
        (folder / area_id).mkdir(parents=True)
        row, column = divmod(number, 20)
        for x, y in ((0, 0), (SIZE_M, 0), (SIZE_M, SIZE_M), (0, SIZE_M)):
            place = {"local_x_m": x, "local_y_m": y, "site_x_m": 1.3 * column + x, "site_y_m": 1.3 * row + y}
            points.append({"area_id": area_id, "point_id": f"P{x}{y}", **place, "sigma_m": 0.003})
        for line in own_lines:
            file = Path(area_id) / Path(line["file"]).name
            (folder / file).hardlink_to(one / line["file"])
            lines.append({**line, "area_id": area_id, "file": file.as_posix()})
    for name, rows in (("scan_areas", areas), ("scan_lines", lines), ("control_points", points)):
        with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
            table = csv.DictWriter(file, rows[0].keys())
            table.writeheader()
            table.writerows(rows)


def main(counts):
    with tempfile.TemporaryDirectory() as made:
        one = Path(made) / "one"
        write_one(one)
        for count in counts:
            measure(one, count)


def measure(one, count):
    """Computes a floor of `count` areas and prints how long it took."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / "floor"
        write_floor(folder, one, count)
        start = time.perf_counter()
        for path in folder.glob("A*/*.sgy"):
            read_traces(path)
        reading = time.perf_counter() - start
        start = time.perf_counter()
        process_survey_step(folder, Path(temporary) / "result")
        seconds = time.perf_counter() - start
        own, workers = (
            resource.getrusage(who).ru_maxrss / 1e3 for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
        )
        print(
            f"{count} areas: {60 * count / seconds:.2f} areas a minute, {seconds / reading:.0f} x reading the files; "
            f"peak memory {own:.0f} MB here, {workers:.0f} MB in the largest worker",
            flush=True,
        )


if __name__ == "__main__":
    main([int(text) for text in sys.argv[1:]] or [5, 20])
