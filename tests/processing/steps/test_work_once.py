"""No work twice on a file: how often each step hashes a file, reads its samples, and opens survey.gpkg."""

import shutil
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
import stand_ins

from inslab.processing.area.cache import AreaCache
from inslab.processing.area.compute import AreaResult
from inslab.processing.area.plain_data import to_bytes
from inslab.processing.area.runners import run_here
from inslab.processing.common.errors import SurveyError
from inslab.processing.common.monitor import Monitor
from inslab.processing.penetrations.chase import ChaseRules
from inslab.processing.penetrations.model import DEFAULT_RULES, Penetrations
from inslab.processing.penetrations.placement import PlacementRules
from inslab.processing.steps.checkpenetrations import check_penetrations_step
from inslab.processing.steps.clearspace import clear_space_step
from inslab.processing.steps.depthslices import depth_slices_step
from inslab.processing.steps.detectitems import detect_items_step
from inslab.processing.steps.fitareas import fit_areas_step
from inslab.processing.steps.joinitems import join_items_step
from inslab.processing.steps.placepenetrations import place_penetrations_step
from inslab.processing.steps.processsurvey import process_survey_step
from inslab.processing.steps.readsurvey import read_survey_step
from inslab.processing.steps.routechase import route_chase_step
from inslab.processing.steps.wavespeed import wave_speed_step
from inslab.processing.store.geopackage import read_layer
from inslab.processing.survey import fingerprint
from inslab.processing.survey.formats import registry, text
from inslab.processing.survey.formats.segy import write_segy
from inslab.processing.views.section import SectionSource

ogr = pytest.importorskip("osgeo.ogr")
pytest.importorskip("rasterio")


@pytest.fixture
def counted(monkeypatch):
    """How often each file was hashed and decoded; `counted()` returns both counters and starts anew."""
    hashed, decoded = Counter(), Counter()
    hash_it, decode = fingerprint._hash, registry.read_traces

    def count_hash(path):
        hashed[Path(path).name] += 1
        return hash_it(path)

    def count_decode(path):
        decoded[Path(path).name] += 1
        return decode(path)

    monkeypatch.setattr(fingerprint, "_hash", count_hash)
    monkeypatch.setattr(registry, "read_traces", count_decode)

    def so_far():
        both = dict(hashed), dict(decoded)
        hashed.clear()
        decoded.clear()
        return both

    return so_far


@pytest.fixture
def folder(tmp_path):
    return stand_ins.write_survey(tmp_path / "job")


def files_of(folder):
    return {path.name: 1 for path in (folder / "lines").iterdir()}


def of_lines(counts):
    return {name: count for name, count in counts.items() if name.endswith(".sgy")}


def test_a_run_hashes_each_file_once_and_later_steps_decode_none(folder, counted, monkeypatch, tmp_path):
    """Stand-ins in the place of radar read no samples: what is counted here is the decoding for checks."""
    stand_ins.stand_in(monkeypatch)
    once = files_of(folder)
    path = process_survey_step(folder, tmp_path / "out").survey_path
    hashed, decoded = counted()
    assert (of_lines(hashed), decoded) == (once, once)
    assert set(hashed.values()) == {1}  # tables, too
    for step in (join_items_step, fit_areas_step, wave_speed_step, detect_items_step):
        step(path)
        hashed, decoded = counted()
        assert (of_lines(hashed), decoded) == (once, {}), step.__name__
    depth_slices_step(path, tmp_path / "out")
    assert counted()[1] == {}
    read_survey_step(folder, tmp_path / "read" / "survey.gpkg")
    hashed, decoded = counted()
    assert (of_lines(hashed), decoded) == (once, once)


def test_real_work_on_areas_decodes_each_line_once(small_survey, counted, tmp_path):
    pytest.importorskip("scipy")
    process_survey_step(small_survey, tmp_path / "out", runner=run_here)
    hashed, decoded = counted()
    assert (of_lines(hashed), decoded) == (files_of(small_survey), files_of(small_survey))
    process_survey_step(small_survey, tmp_path / "out", runner=run_here)
    assert counted()[1] == {}  # what was wrong with samples is kept with the areas' results


def spoil(folder, area_id="W1"):
    """Samples of all sorts of fault, rows for the same line or file as a row that falls away, and an area without a sound line."""
    lines, random = folder / "lines", np.random.default_rng(7)

    def not_finite(line):
        content = bytearray(line.read_bytes())
        content[-4:] = np.array(np.nan, ">f4").tobytes()
        line.write_bytes(content)

    traces = random.normal(size=(41, 128)).astype(np.float32)
    shutil.copy(lines / "A1-x1.sgy", lines / "again.sgy")
    write_segy(lines / "A1-y1.sgy", np.ones((41, 128), np.float32), 0.05)
    write_segy(lines / "A2-x2.sgy", np.clip(4 * traces, -1, 1), 0.05)
    traces[[3, 7]] = 0.0
    write_segy(lines / "A2-x1.sgy", traces, 0.05)
    rows = "".join(",".join(["1.5"] * 127 + [last]) + "\n" for last in ["2.5"] * 40 + ["two"])
    (lines / "A2-y2.sgy").write_text(f"# rows: traces\n# sample_interval_ns: 0.05\n{rows}", encoding="utf-8")
    for line in [lines / "A1-x2.sgy", *lines.glob(f"{area_id}-*.sgy")]:
        not_finite(line)
    with (folder / "scan_lines.csv").open("a", encoding="utf-8") as table:
        table.write("A1,X2,lines/again.sgy,across,0,0.2,0.4,0.2\n")  # the line that is not finite, once more
        table.write("A1,z1,lines/A1-y1.sgy,across,0.1,0,0.1,0.4\n")  # the dead file
        table.write("A1,z2,lines/A1-x0.sgy,across,0.1,0,0.1,0.4\n")  # a sound one
    depths = f"area_id,feature,local_x_m,local_y_m,depth_m\n{area_id},base,0.1,0.1,0.25\nA1,base,0.1,0.1,0.25\n"
    (folder / "known_depths.csv").write_text(depths, encoding="utf-8")


@pytest.mark.parametrize("area_id", ["W1", "LOST"])
def test_bad_samples_are_told_as_if_they_had_been_looked_at_first(folder, monkeypatch, tmp_path, area_id):
    stand_ins.stand_in(monkeypatch).keep_results()
    spoil(folder, area_id)
    read = read_survey_step(folder, tmp_path / "read.gpkg")
    said = read.read.survey.findings
    assert (
        len([one for one in said if one.severity == "error"]) == 3 + 10 + 2 + 1
    )  # lines, those of the area, rows, the area
    for _ in range(2):  # the second time with the areas' kept results
        warnings = []
        whole = process_survey_step(folder, tmp_path / "out", monitor=Monitor(warn=warnings.append))
        assert whole.read.survey == read.read.survey
        assert {warnings.count(f"{one.where}: {one.text}") for one in said if one.severity != "note"} == {1}
        assert whole.found.findings[: len(said)] == said
        # A fit with items in two areas says anew, at the end, what the first one said.
        unplaced = next(one for one in whole.found.findings[len(said) :] if one.where != "fit of areas")
        assert unplaced.where.startswith("known_depths.csv")
        assert area_id in unplaced.text
        assert not whole.found.failures
        assert set(whole.found.fits) == set(whole.found.wave_speeds) == set(stand_ins.AREAS) - {area_id}
        rows = [[row for _, row in read_layer(one.survey_path, "scan_lines")] for one in (whole, read)]
        assert repr(rows[0]) == repr(rows[1])


def test_a_line_of_which_an_area_says_nothing_is_looked_at_in_the_end(folder, monkeypatch, tmp_path):
    """As where the process that computed it was ended."""
    stand_ins.stand_in(monkeypatch)
    spoil(folder)
    read = read_survey_step(folder, tmp_path / "read.gpkg").read

    def lose_the_second(tasks, accept, monitor):
        run_here(tasks[:1], accept, monitor)
        accept(1, to_bytes(AreaResult("A2", failure="it ended.")))
        run_here(tasks[2:], lambda number, content: accept(number + 2, content), monitor)

    whole = process_survey_step(folder, tmp_path / "out", runner=lose_the_second)
    assert whole.found.failures == {"A2": "it ended."}
    assert whole.read.survey == read.survey


def test_a_survey_without_a_sound_line_is_refused_in_the_same_words(folder, monkeypatch, tmp_path):
    stand_ins.stand_in(monkeypatch)
    for line in (folder / "lines").iterdir():
        write_segy(line, np.ones((41, 128), np.float32), 0.05)
    with pytest.raises(SurveyError) as of_reading:
        read_survey_step(folder, tmp_path / "read.gpkg")
    with pytest.raises(SurveyError) as of_all:
        process_survey_step(folder, tmp_path / "out")
    assert str(of_all.value) == str(of_reading.value)
    assert "every trace is dead" in str(of_all.value)
    assert list((tmp_path / "out").iterdir()) == []


def test_what_an_area_reads(small_survey, counted, tmp_path, monkeypatch):
    """After the survey was read, the area's own work decodes each line once, and nothing else does. Wave speeds need no package
    but scipy, so that this is the real work.
    """
    pytest.importorskip("scipy")
    monkeypatch.setattr("inslab.processing.area.runners.find_python", lambda: None)
    path = tmp_path / "survey.gpkg"
    read_survey_step(small_survey, path)
    once = counted()[1]
    wave_speed_step(path)
    hashed, decoded = counted()
    assert decoded == once
    assert of_lines(hashed) == once
    source = SectionSource(path)
    source.of_line("A1", "X02", "across")
    decoded = counted()[1]
    own = {Path(row["file"]).name for _, row in read_layer(path, "scan_lines") if row["area_id"] == "A1"}
    assert set(decoded) == own  # to prepare the area; the picture of the line as recorded takes that line's again
    assert sorted(decoded.values()) == [1] * (len(own) - 1) + [2]


def test_a_changed_file_is_looked_at_again_and_refused_until_it_is_mended(folder, counted, monkeypatch, tmp_path):
    stand_ins.stand_in(monkeypatch)
    path = process_survey_step(folder, tmp_path / "out").survey_path
    line = folder / "lines" / "A1-x2.sgy"
    sound = line.read_bytes()
    broken = np.ones((41, 128), np.float32)
    write_segy(line, broken, 0.05)
    counted()
    for _ in range(2):  # the second time its fingerprint is known, and that it was refused
        result = join_items_step(path)
        assert counted()[1] == {line.name: 1}
        assert len(result.read.areas["A1"].lines) == 9
        assert any("every trace is dead" in sentence for sentence in result.found.warnings)
    line.write_bytes(sound)
    result = join_items_step(path)
    assert len(result.read.areas["A1"].lines) == 10
    assert counted()[1] == {line.name: 1}


def test_warnings_on_samples_are_told_again_without_reading_them(folder, counted, monkeypatch, tmp_path):
    stand_ins.stand_in(monkeypatch)
    traces = np.random.default_rng(7).normal(size=(41, 128)).astype(np.float32)
    traces[3] = 0.0
    write_segy(folder / "lines" / "A1-x2.sgy", traces, 0.05)
    first = process_survey_step(folder, tmp_path / "out")
    path = first.survey_path
    counted()
    before = read_layer(path, "findings")
    result = join_items_step(path)
    assert counted()[1] == {}
    told = [text for text in first.found.warnings if "traces is dead" in text]
    assert len(told) == 1
    assert [text for text in result.found.warnings if "traces is dead" in text] == told
    assert read_layer(path, "findings") == before


def test_a_line_of_text_is_run_through_again_but_not_decoded(folder, counted, monkeypatch, tmp_path):
    """Text has no header that says how long it is, so each step counts its rows."""
    stand_ins.stand_in(monkeypatch)
    line, table = folder / "lines" / "A1-x2.csv", folder / "scan_lines.csv"
    samples = np.random.default_rng(7).normal(size=(41, 128))
    np.savetxt(line, samples, "%.4f", ",", header="sample_interval_ns: 0.05\nrows: traces")
    line.with_suffix(".sgy").unlink()
    table.write_text(table.read_text(encoding="utf-8").replace("A1-x2.sgy", line.name), encoding="utf-8")
    path = process_survey_step(folder, tmp_path / "out").survey_path
    assert counted()[1] == files_of(folder)
    rows, rows_of = Counter(), text._rows

    def count_rows(file, form):
        for row in rows_of(file, form):
            rows[Path(file.name).name] += 1
            yield row

    monkeypatch.setattr(text, "_rows", count_rows)
    result = join_items_step(path)
    hashed, decoded = counted()
    assert (hashed[line.name], decoded, rows) == (1, {}, {line.name: len(samples)})
    assert len(result.read.areas["A1"].lines) == 10


def test_other_tables_make_every_line_be_looked_at(folder, counted, monkeypatch, tmp_path):
    """A row more moves the others, so that what was said of a row may be of another one."""
    stand_ins.stand_in(monkeypatch)
    path = process_survey_step(folder, tmp_path / "out").survey_path
    table = folder / "scan_lines.csv"
    table.write_text(table.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    counted()
    join_items_step(path)
    assert counted()[1] == files_of(folder)


def test_a_file_that_changes_under_a_run_is_hashed_anew(folder, tmp_path, monkeypatch):
    stand_ins.stand_in(monkeypatch)
    from inslab.processing.area.compute import AreaTask, bare
    from inslab.processing.store.fingerprints import survey_inputs
    from inslab.processing.survey.read import read_survey

    known = {}
    survey_inputs(folder, known)
    task = AreaTask(bare(read_survey(folder).areas[0]))
    key = AreaCache(tmp_path / "a", known).key(task)
    shutil.copy(folder / "lines" / "S1-x1.sgy", task.area.lines[0].path)
    assert AreaCache(tmp_path / "b", known).key(task)[4:] != key[4:]


@pytest.fixture
def opened(monkeypatch):
    """How often GDAL opened each GeoPackage."""
    counts = Counter()
    open_it = ogr.Open

    def count(path, *more):
        counts[Path(path).name] += 1
        return open_it(path, *more)

    monkeypatch.setattr(ogr, "Open", count)
    return counts


def test_verdicts_open_the_survey_once(folder, monkeypatch, tmp_path, opened):
    pytest.importorskip("scipy")
    stand_ins.stand_in(monkeypatch)
    path = process_survey_step(folder, tmp_path / "out", runner=run_here).survey_path
    holes = Penetrations.upright([(10.2, 20.3), (10.3, 20.25)], [0.02, 0.02], [0.1, 0.1], 0.005)
    sides, given, out = [("top", None), ("top", "L1")], [{}, {}], tmp_path / "holes.gpkg"
    wanted = PlacementRules()
    for step in (
        lambda: check_penetrations_step(path, holes, sides, given, {}, out, DEFAULT_RULES),
        lambda: place_penetrations_step(path, holes, sides, ["a", "b"], given, {}, out, DEFAULT_RULES, wanted),
        lambda: clear_space_step(path, tmp_path / "clear.tif", 0.1, DEFAULT_RULES, cell_m=0.05),
        lambda: route_chase_step(path, (10.1, 20.25), (10.3, 20.25), out, DEFAULT_RULES, ChaseRules(0.02, 0.02)),
    ):
        opened.clear()
        step()
        assert opened["survey.gpkg"] == 1
