"""Two steps that change one survey at once: the second is refused in a sentence, and loses nothing of the first."""

import subprocess
import sys
from pathlib import Path

import pytest
import stand_ins

from inslab.processing.common.errors import ProcessingError
from inslab.processing.common.monitor import Monitor
from inslab.processing.steps import checkpenetrations
from inslab.processing.steps.depthslices import depth_slices_step
from inslab.processing.steps.detectitems import detect_items_step
from inslab.processing.steps.fitareas import fit_areas_step
from inslab.processing.steps.joinitems import join_items_step
from inslab.processing.steps.processsurvey import process_survey_step
from inslab.processing.steps.readsurvey import read_survey_step
from inslab.processing.steps.shared import survey_state
from inslab.processing.steps.sitegrid import site_grid_step
from inslab.processing.steps.wavespeed import wave_speed_step
from inslab.processing.store import reading
from inslab.processing.store.geopackage import read_layer
from inslab.processing.store.layer import Layer
from inslab.processing.store.locks import LOCK_FILE, changes_survey, folder_lock

pytest.importorskip("osgeo")
TESTS = Path(__file__).resolve().parents[2]
BUSY = "Another run is writing into .*; wait until it is done, then run this again"
# Fits the areas of a survey, and waits in the middle until something is sent to it.
STEP = """
import sys
sys.path.insert(0, sys.argv[1])
import conftest
from inslab.processing.steps.fitareas import fit_areas_step
from inslab.processing.common.monitor import Monitor
said = []
def wait(share):
    if share > 0.55 and not said:
        said.append(share)
        print("half done", flush=True)
        sys.stdin.readline()
fit_areas_step(sys.argv[2], monitor=Monitor(progress=wait))
"""


@pytest.fixture
def survey(folder, tmp_path):
    path = tmp_path / "a result ü" / "survey.gpkg"
    path.parent.mkdir()
    read_survey_step(folder, path)
    return path


@pytest.fixture
def other_step(survey):
    """A process that is in the middle of a step on the survey; a function that lets it end."""
    process = subprocess.Popen(
        [sys.executable, "-c", STEP, str(TESTS), str(survey)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )

    def finish():
        _, errors = process.communicate("go on\n", timeout=60)
        assert process.returncode == 0, errors

    try:
        said = process.stdout.readline()
        assert said == "half done\n", process.stderr.read()
        yield finish
    finally:
        process.kill()
        process.communicate()


def test_the_second_of_two_processes_is_refused_and_works_afterwards(survey, folder, other_step):
    before = survey.read_bytes()
    for step in (
        lambda: fit_areas_step(survey),
        lambda: read_survey_step(folder, survey_path=survey),
        lambda: wave_speed_step(survey),
        lambda: depth_slices_step(survey, survey.parent / "elsewhere"),
        lambda: detect_items_step(survey),
        lambda: join_items_step(survey),
        lambda: site_grid_step(survey),
        lambda: process_survey_step(folder, survey.parent),
    ):
        with pytest.raises(ProcessingError, match=BUSY):
            step()
    warned = []
    survey_state.note_step(survey, "write report", {}, Monitor(warn=warned.append))
    assert len(warned) == 1
    assert "could not be noted" in warned[0]
    assert survey.read_bytes() == before
    other_step()
    assert not (survey.parent / LOCK_FILE).exists()
    site_grid_step(survey, "Level 1")
    # What the first wrote is still there, and the second stands after it.
    assert [row["step"] for row in reading.read_run_log(survey)] == [
        *("read survey", "fit areas", "fit areas"),
        "define site grid",
    ]


def test_verdicts_into_the_survey_itself_wait_too(survey, other_step):
    layer = Layer("verdicts", "Point", {"penetration_id": str}, [((10.0, 20.0), {"penetration_id": "P1"})])
    wkt = reading.read_crs_wkt(survey)
    with pytest.raises(ProcessingError, match=BUSY):
        checkpenetrations.write_layers(survey, [layer], wkt)
    # A new file beside it is nobody's.
    checkpenetrations.write_layers(survey.parent / "holes.gpkg", [layer], wkt)
    other_step()
    checkpenetrations.write_layers(survey, [layer], wkt)
    assert len(read_layer(survey, "verdicts")) == 1
    assert len(read_layer(survey, "scan_areas")) == len(stand_ins.AREAS)


def test_a_step_may_write_rasters_beside_the_survey(folder, tmp_path, monkeypatch):
    """Its own lock does not keep it out of the folder."""
    stand_ins.stand_in(monkeypatch)
    survey = tmp_path / "out" / "survey.gpkg"
    survey.parent.mkdir()
    read_survey_step(folder, survey)
    result = depth_slices_step(survey, survey.parent)
    assert result.rasters
    assert all(file.path.is_file() for file in result.rasters)
    assert not (survey.parent / LOCK_FILE).exists()


def test_the_lock_goes_with_a_step_that_fails(tmp_path):
    @changes_survey
    def fails(first, survey_path, third=0):
        assert (tmp_path / LOCK_FILE).exists()
        with folder_lock(tmp_path):  # a part of it that writes there
            pass
        assert (tmp_path / LOCK_FILE).exists()
        raise ProcessingError("no luck")

    for _ in range(2):
        with pytest.raises(ProcessingError, match="no luck"):
            fails(1, third=3, survey_path=tmp_path / "survey.gpkg")
        assert not (tmp_path / LOCK_FILE).exists()


def test_a_folder_that_is_not_there_is_left_to_the_step(tmp_path):
    seen = []

    @changes_survey
    def step(survey_path):
        seen.append(survey_path)

    step(tmp_path / "nowhere" / "survey.gpkg")
    assert seen == [tmp_path / "nowhere" / "survey.gpkg"]
    assert not (tmp_path / "nowhere").exists()
