"""The main job as it runs without a window: qgis_process, in a profile of its own."""

import json
import os
import shutil
import subprocess
from pathlib import Path

import pytest

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


def test_whole_chain(qgis_process, small_survey, tmp_path):
    folder = tmp_path / "result"
    run = qgis_process(
        "run", "inslab:processsurvey", "--json", f"--SURVEY_FOLDER={small_survey}", f"--OUTPUT_FOLDER={folder}"
    )
    assert run.returncode == 0, run.stderr
    results = json.loads(run.stdout)["results"]
    assert (results["AREA_COUNT"], results["LINE_COUNT"]) == (2, 64)
    assert results["ITEM_COUNT"] >= 10  # five bars in each of two areas
    assert Path(results["SURVEY"]) == folder / "survey.gpkg"
    assert Path(results["REPORT"]).is_file()


def test_a_wrong_folder_is_refused_in_a_sentence(qgis_process, tmp_path):
    run = qgis_process("run", "inslab:readsurvey", f"--SURVEY_FOLDER={tmp_path}/nowhere", f"--SURVEY={tmp_path}/s.gpkg")
    assert run.returncode != 0
    assert "There is no survey folder" in run.stdout + run.stderr
    assert "Traceback" not in run.stdout + run.stderr
