"""Results of areas are kept by everything they depend on, and nothing else; a damaged one is computed again."""

import csv
import shutil

import numpy as np
import pytest
from stand_ins import AREAS

from inslab.processing.area import cache, compute
from inslab.processing.area.cache import CACHE_FOLDER
from inslab.processing.area.settings import RunSettings
from inslab.processing.common import language
from inslab.processing.common.errors import Cancelled, ProcessingError
from inslab.processing.common.monitor import Monitor
from inslab.processing.steps.processsurvey import process_survey_step

pytest.importorskip("osgeo")
pytest.importorskip("rasterio")


@pytest.fixture
def run(folder, monkeypatch, tmp_path):
    """Runs the chain with stand-ins and returns the areas that were computed; `run.radar`, `run.output`."""
    import stand_ins

    radar = stand_ins.stand_in(monkeypatch)
    radar.keep_results()

    def once(settings=RunSettings(), **more):
        radar.estimated.clear()
        process_survey_step(folder, run_it.output, settings, **more)
        return list(radar.estimated)

    run_it = once
    run_it.radar, run_it.output = radar, tmp_path / "out put ü"
    return run_it


def entries(output):
    return sorted((output / CACHE_FOLDER).glob("*"))


def change(path, row_start, column, value):
    """Sets one cell of a table in the row that begins with `row_start`."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    number = rows[0].index(column)
    for row in rows:
        if ",".join(row).startswith(row_start):
            row[number] = str(value)
            break
    else:
        raise AssertionError(row_start)
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)


def files(output):
    found = [path for path in output.rglob("*") if path.is_file() and CACHE_FOLDER not in path.parts]
    return {path.relative_to(output).as_posix(): path.read_bytes() for path in found}


def test_a_second_run_computes_nothing_and_gives_the_same_files(run):
    assert run() == list(AREAS)
    first = files(run.output)
    assert run() == []
    assert files(run.output) == first
    shutil.rmtree(run.output / CACHE_FOLDER)
    assert run() == list(AREAS)
    assert files(run.output) == first


@pytest.mark.parametrize(
    ("table", "row", "column", "value"),
    [
        ("control_points", "A1,P00", "site_x_m", 10.004),
        ("scan_areas", "A1,", "note", "wet"),
        ("scan_areas", "A1,", "scanned_by", "others"),
        ("scan_areas", "A1,", "level", "L2"),
    ],
)
def test_where_an_area_lies_costs_no_computing(run, folder, table, row, column, value):
    run()
    first = files(run.output)
    change(folder / f"{table}.csv", row, column, value)
    assert run() == []
    assert files(run.output) != first


@pytest.mark.parametrize(
    ("table", "row", "column", "value"),
    [
        ("scan_areas", "A2,", "antenna_separation_m", 0.07),
        ("scan_areas", "A2,", "centre_frequency_mhz", 1600),
        ("scan_lines", "A2,x1", "start_x_m", 0.001),
        ("scan_lines", "A2,x1", "dipole_axis", "along"),
        ("scan_lines", "A2,x1", "line_id", "other"),
    ],
)
def test_what_an_area_depends_on_computes_it_alone_again(run, folder, table, row, column, value):
    run()
    change(folder / f"{table}.csv", row, column, value)
    assert run() == ["A2"]


def test_one_bit_of_a_line_file_computes_its_area_again(run, folder):
    run()
    path = folder / "lines" / "S1-x1.sgy"
    content = bytearray(path.read_bytes())
    content[-1] ^= 1
    path.write_bytes(content)
    assert run() == ["S1"]


def test_known_depths_and_a_stated_thickness_count_for_their_area(run, folder):
    run()
    (folder / "known_depths.csv").write_text("area_id,feature,speed_m_ns\nW1,speed,0.111\n")
    assert run() == ["W1"]
    path = folder / "scan_areas.csv"
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([f"{head},slab_thickness_m", f"{rows[0]},0.28", *rows[1:]]), encoding="utf-8")
    assert run() == ["A1"]


@pytest.mark.parametrize("name", ["cell_m", "depth_step_m", "max_depth_m"])
def test_settings_count_for_all(run, name):
    run()
    assert run(RunSettings(**{name: 0.02})) == list(AREAS)


def test_another_program_or_language_counts_for_all(run, monkeypatch):
    run()
    monkeypatch.setattr(language, "_code", "xx")
    assert run() == list(AREAS)
    monkeypatch.setattr(cache, "program_digest", lambda: "another")
    assert run() == list(AREAS)


def test_the_program_counts_by_its_source(monkeypatch, tmp_path):
    cache.program_digest.cache_clear()
    before = cache.program_digest()
    copy = shutil.copytree(cache._PROCESSING, tmp_path / "processing")
    monkeypatch.setattr(cache, "_PROCESSING", copy)
    digests = [before]
    for name in ("survey/formats/segy.py", "radar/imaging.py", "items/detect.py", "area/compute.py"):
        with (copy / name).open("a") as file:
            file.write("#")
        cache.program_digest.cache_clear()
        digests.append(cache.program_digest())
    assert len(set(digests)) == 5
    with (copy / "site" / "fit.py").open("a") as file:
        file.write("#")
    cache.program_digest.cache_clear()
    assert cache.program_digest() == digests[-1]
    cache.program_digest.cache_clear()


@pytest.mark.parametrize("damage", ["cut", "bit", "empty", "text", "swapped"])
def test_a_damaged_entry_is_computed_again(run, damage):
    run()
    first = files(run.output)
    path, other = entries(run.output)[:2]
    content = path.read_bytes()
    middle = bytearray(content)
    middle[len(middle) // 2] ^= 4
    spoilt = {
        "cut": content[:-100],
        "bit": bytes(middle),
        "empty": b"",
        "text": b"hello",
        "swapped": other.read_bytes(),
    }
    path.write_bytes(spoilt[damage])
    assert len(run()) == 1
    assert files(run.output) == first
    assert run() == []


def test_entries_that_the_latest_run_did_not_use_go(run, folder):
    run()
    before = set(entries(run.output))
    (run.output / CACHE_FOLDER / "half.npz.part").write_bytes(b"x")
    (run.output / CACHE_FOLDER / "of the user.txt").write_bytes(b"x")
    change(folder / "scan_areas.csv", "A2,", "antenna_separation_m", 0.07)
    run()
    after = set(entries(run.output))
    assert len(after) == len(AREAS) + 1
    assert len(before & after) == len(AREAS) - 1


def test_a_cancelled_run_is_taken_up_where_it_stopped(run):
    done = []
    stop = Monitor(cancelled=lambda: len(run.radar.estimated) > 2)
    with pytest.raises(Cancelled):
        run(monitor=stop)
    done = list(run.radar.estimated)
    kept = len(entries(run.output))
    assert kept in (len(done) - 1, len(done))  # the one that was under way may be lost, no other
    assert run() == [area_id for area_id in AREAS if area_id not in done[:kept]]


def test_a_failed_area_is_tried_again(run):
    run.radar.fail["A2"] = ProcessingError("Area A2: no.")
    run()
    run.radar.fail.clear()
    assert run() == ["A2"]


def test_a_file_that_changes_during_the_run_is_not_kept(run, folder, monkeypatch):
    path = folder / "lines" / "A1-x1.sgy"
    work = compute._work

    def change_file(task, *more):
        work(task, *more)
        if task.area.area_id == "A1":
            path.write_bytes(path.read_bytes()[:-1] + b"\1")

    monkeypatch.setattr(compute, "_work", change_file)
    run()
    monkeypatch.setattr(compute, "_work", work)
    assert run() == ["A1"]


def test_a_cache_that_cannot_be_written_stops_the_run_with_a_sentence(run, monkeypatch):
    run()
    before = files(run.output)
    shutil.rmtree(run.output / CACHE_FOLDER)
    (run.output / CACHE_FOLDER).write_text("a file in the way")
    with pytest.raises(ProcessingError, match=r"cannot be written .* not computed again"):
        run()
    assert files(run.output) == before


def test_the_key_is_the_same_wherever_the_survey_lies(folder, tmp_path):
    from inslab.processing.survey.read import read_survey

    moved = shutil.copytree(folder, tmp_path / "elsewhere")
    keys = []
    for place in (folder, moved):
        tasks = [compute.AreaTask(compute.bare(area)) for area in read_survey(place).areas]
        keys.append([cache.AreaCache(tmp_path).key(task) for task in tasks])
    assert keys[0] == keys[1]
    assert len(set(keys[0])) == len(AREAS)
    assert np.all([len(key) == 64 for key in keys[0]])
