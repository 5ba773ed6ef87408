"""The main job as it runs without a window: qgis_process, in a profile of its own."""

import json
import os
import shutil
import subprocess
from pathlib import Path

import pytest
from truth import compare

from inslab.processing.store.geopackage import read_layer

ROOT = Path(__file__).resolve().parent.parent.parent
# The wrapper without .bin does not work on Debian 12.
QGIS_PROCESS = shutil.which("qgis_process.bin") or shutil.which("qgis_process")


@pytest.fixture(scope="module")
def qgis_process(tmp_path_factory):
    """A function that runs qgis_process and returns the finished process."""
    profile = tmp_path_factory.mktemp("profile")
    plugins = profile / "profiles" / "default" / "python" / "plugins"
    plugins.mkdir(parents=True)
    (plugins / "inslab").symlink_to(ROOT)
    environment = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    environment.update(QGIS_CUSTOM_CONFIG_PATH=str(profile), QT_QPA_PLATFORM="offscreen", PYTHONDONTWRITEBYTECODE="1")

    def run(*arguments):
        return subprocess.run(
            [QGIS_PROCESS, *arguments],
            capture_output=True,
            text=True,
            env=environment,
            cwd=ROOT,
            timeout=300,
            check=False,
        )

    assert run("plugins", "enable", "inslab").returncode == 0
    return run


def test_help_is_plain_text(qgis_process):
    shown = qgis_process("help", "inslab:processsurvey").stdout
    assert "SURVEY_FOLDER" in shown
    assert "does not guarantee detection" in shown
    assert "<p>" not in shown


@pytest.fixture(scope="module")
def sample(tmp_path_factory):
    """Two areas of the sample that overlap, with lines 0.05 and 0.10 m apart, and the truth about them."""
    from inslab.sample_project import generate, scan_plan

    folder = tmp_path_factory.mktemp("sample") / "survey"
    folder.mkdir()
    return folder, generate.write_survey(folder, scan_plan.AREAS[:2])


def test_whole_chain_finds_the_truth_of_the_sample(qgis_process, sample, tmp_path):
    """The limits are those that the project set itself for its first version."""
    survey, truth = sample
    folder = tmp_path / "result"
    run = qgis_process(
        "run", "inslab:processsurvey", "--json", f"--SURVEY_FOLDER={survey}", f"--OUTPUT_FOLDER={folder}"
    )
    assert run.returncode == 0, run.stderr
    results = json.loads(run.stdout)["results"]
    assert results["AREA_COUNT"] == 2
    assert results["LINE_COUNT"] == len(list((survey / "lines").iterdir()))
    assert Path(results["SURVEY"]) == folder / "survey.gpkg"
    assert Path(results["REPORT"]).is_file()
    rows = read_layer(results["SURVEY"], "items")
    assert len(rows) == results["ITEM_COUNT"]
    items = [line * [1.0, 1.0, -1.0] for line, _row in rows]

    def is_shallow_bar(entry):
        return entry["kind"] == "bar" and max(z for _x, _y, z in entry["polyline_site_x_y_topdepth_m"]) < 0.08

    match = compare(truth, items, is_shallow_bar)
    assert match.found >= 0.90
    assert match.lateral_rms_m <= 0.015
    assert match.depth_rms_m <= 0.012
    assert match.false <= 0.15


def test_a_wrong_folder_is_refused_in_a_sentence(qgis_process, tmp_path):
    run = qgis_process("run", "inslab:readsurvey", f"--SURVEY_FOLDER={tmp_path}/nowhere", f"--SURVEY={tmp_path}/s.gpkg")
    assert run.returncode != 0
    assert f"The survey folder {tmp_path}/nowhere does not exist" in run.stdout + run.stderr
    assert "Traceback" not in run.stdout + run.stderr
