"""A big floor: areas a minute, peak memory against the number of areas, and the time as a multiple of reading the files.

    .venv/bin/python tests/benchmarks/benchmark_floor.py 5 20 200

Each area has 26 passes of 240 traces and 512 samples with both dipole axes over a mat of bars. All areas share the files of one, to
spare the disk; each is computed for itself, because results are kept for each area id.
"""

import csv
import resource
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "helpers"))
import conftest  # noqa: F401 - makes the package importable
import numpy as np
from synthetic import FREQUENCY_GHZ, INTERVAL_NS, REFERENCE_NS, SEPARATION_M, bar_paths, echo, ricker

from inslab.processing.chain import process_survey
from inslab.processing.survey.line_files import read_traces
from inslab.processing.survey.segy import write_segy

TRACES, SAMPLES, PASSES, SIZE_M, STEP_M = 240, 512, 26, 1.2, 0.1


def write_floor(folder, count):
    """The survey of `count` areas, in rows of twenty."""
    (folder / "lines").mkdir(parents=True)
    random = np.random.default_rng(1)
    clock = np.arange(SAMPLES) * INTERVAL_NS - REFERENCE_NS
    places = [(way, round(n * STEP_M, 3)) for way in "xy" for n in range(PASSES // 2)]
    for way, place in places:
        start, end = ((0.0, place), (SIZE_M, place)) if way == "x" else ((place, 0.0), (place, SIZE_M))
        for axis in ("across", "along"):
            traces = np.tile(-ricker(clock), (TRACES, 1)) + random.normal(0, 0.02, (TRACES, SAMPLES))
            for at in np.arange(0.15, SIZE_M, 0.2):
                bar, along = ((at, 0.0, 0.05), (0.0, 1.0, 0.0)) if way == "x" else ((0.0, at, 0.065), (1.0, 0.0, 0.0))
                coarse = bar_paths(start, end, 25, axis, bar, along, 0.008)
                paths = np.interp(np.linspace(0, 1, TRACES), np.linspace(0, 1, 25), coarse)
                traces += echo(clock, paths, -0.2)
            write_segy(folder / "lines" / f"{way}{place}{axis}.sgy", (10000 * traces).astype(np.float32), INTERVAL_NS)
    areas, lines, points = [], [], []
    for number in range(count):
        area_id = f"A{number:03d}"
        areas.append((area_id, "L1", "top", SEPARATION_M, 1000 * FREQUENCY_GHZ, "", "", ""))
        own = folder / "lines" / area_id
        own.mkdir()
        row, column = divmod(number, 20)
        for x, y in ((0, 0), (SIZE_M, 0), (SIZE_M, SIZE_M), (0, SIZE_M)):
            points.append((area_id, f"P{x}{y}", x, y, 1.3 * column + x, 1.3 * row + y, 0.003))
        for way, place in places:
            ends = (0, place, SIZE_M, place) if way == "x" else (place, 0, place, SIZE_M)
            for axis in ("across", "along"):
                file = own / f"{way}{place}{axis}.sgy"
                file.hardlink_to(folder / "lines" / file.name)
                lines.append((area_id, f"{way}{place}", file.relative_to(folder).as_posix(), axis, *ends))
    for name, head, rows in (
        (
            "scan_areas",
            "area_id level surface antenna_separation_m centre_frequency_mhz scanned_on scanned_by note",
            areas,
        ),
        ("scan_lines", "area_id line_id file dipole_axis start_x_m start_y_m end_x_m end_y_m", lines),
        ("control_points", "area_id point_id local_x_m local_y_m site_x_m site_y_m sigma_m", points),
    ):
        with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows([head.split(), *rows])


def main(counts):
    for count in counts:
        with tempfile.TemporaryDirectory() as temporary:
            folder = Path(temporary) / "floor"
            write_floor(folder, count)
            start = time.perf_counter()
            for path in folder.glob("lines/A*/*.sgy"):
                read_traces(path)
            reading = time.perf_counter() - start
            start = time.perf_counter()
            process_survey(folder, Path(temporary) / "result")
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
