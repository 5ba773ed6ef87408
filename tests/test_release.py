"""The zip for the plugin repository: what is in it, what is refused, and that QGIS runs it in a profile where nothing else is."""

import importlib.util
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
# The wrapper without .bin does not work on Debian 12.
QGIS_PROCESS = shutil.which("qgis_process.bin") or shutil.which("qgis_process")
# As a QGIS without these packages is: nothing finds them.
HIDE = """
import sys
from importlib.machinery import PathFinder

class Hiding(PathFinder):
    @classmethod
    def find_spec(cls, name, path=None, target=None):
        hidden = name.split(".")[0] in {"scipy", "rasterio", "matplotlib", "shapely", "threadpoolctl"}
        return None if hidden else PathFinder.find_spec(name, path, target)

sys.meta_path[sys.meta_path.index(PathFinder)] = Hiding
"""


def _package():
    spec = importlib.util.spec_from_file_location("package", ROOT / ".ci" / "package.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


package = _package()


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    """The zip of the files as they are now."""
    path = tmp_path_factory.mktemp("release") / "inslab.zip"
    package.write_zip(ROOT, path)
    return path


@pytest.fixture
def ready(tmp_path):
    """A copy of the files with metadata that could be published."""
    folder = tmp_path / "ready"
    for path in package.files_of(ROOT):
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(ROOT / path, folder / path)
    change(folder / "metadata.txt", "inslab-project.example", "inslab-project.org")
    change(folder / "CHANGELOG.md", " (not released)", " - 2031-05-01")
    return folder


def change(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text or old == " (not released)"
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_what_is_in_the_zip(archive):
    with zipfile.ZipFile(archive) as held:
        names = held.namelist()
    assert {"inslab/metadata.txt", "inslab/__init__.py", "inslab/LICENSE", "inslab/plugin/icons/inslab.svg"} <= set(
        names
    )
    for name in names:
        folder, *rest = name.split("/")
        assert folder == "inslab"
        assert rest[0] not in ("tests", "sample_project", "pyproject.toml")
        assert not any(part.startswith(".") or part == "__pycache__" for part in rest), name


def test_the_same_files_give_the_same_zip(archive, tmp_path):
    package.write_zip(ROOT, tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == archive.read_bytes()


def test_this_version_is_a_draft_without_fault():
    assert package.problems(ROOT, draft=True) == []


def test_what_could_be_published_is_taken(ready):
    assert package.problems(ready) == []


@pytest.mark.parametrize(
    ("file", "old", "new", "words"),
    [
        ("metadata.txt", "tracker=https://inslab-project.org/", "tracker=https://a.example/", "tracker .* is a placeholder"),
        ("metadata.txt", "tracker=", "trackers=", "lacks tracker"),
        ("metadata.txt", "category=Raster", "category=100 %", "per cent"),
        ("metadata.txt", "version=0.1.0", "version=0.1", "three numbers"),
        ("metadata.txt", "version=0.1.0", "version=0.2.0", "must begin with 0.2.0"),
        ("metadata.txt", "icon=plugin/", "icon=nowhere/", "icon .* is missing"),
        ("metadata.txt", "qgisMaximumVersion=3.99", "qgisMaximumVersion=4.99", "QGIS 4 is not tested"),
        ("metadata.txt", "name=Inslab", "name=Inslab Plugin", "neither 'plugin' nor 'QGIS'"),
        ("CHANGELOG.md", " - 2031-05-01", " (not released)", "not released"),
    ],
)  # fmt: skip
def test_what_would_be_refused_is_refused_here(ready, file, old, new, words):
    change(ready / file, old, new)
    with pytest.raises(AssertionError, match=words):
        assert package.problems(ready) == []


@pytest.mark.parametrize(
    ("name", "content"), [("plugin/a.so", b"\x7fELF"), ("plugin/a:b.txt", b""), ("docs/" + "a" * 120, b"")]
)
def test_files_that_cannot_be_published(ready, name, content):
    (ready / name).write_bytes(content)
    (sentence,) = package.problems(ready)
    assert sentence.startswith(name)


def profile_with(archive, folder):
    """A profile that holds the plugin of the zip and nothing else; returns a function that runs qgis_process in it."""
    plugins = folder / "profiles" / "default" / "python" / "plugins"
    plugins.mkdir(parents=True)
    with zipfile.ZipFile(archive) as held:
        held.extractall(plugins)
    environment = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    environment.update(QGIS_CUSTOM_CONFIG_PATH=str(folder), QT_QPA_PLATFORM="offscreen", PYTHONDONTWRITEBYTECODE="1")

    def run(*arguments, **further):
        command = [QGIS_PROCESS, *arguments]
        return subprocess.run(
            command,
            capture_output=True,
            text=True,
            env={**environment, **further},
            cwd=folder,
            timeout=300,
            check=False,
        )

    return run


def test_the_zip_runs_in_a_clean_profile(archive, small_survey, tmp_path):
    run = profile_with(archive, tmp_path / "profile")
    assert run("plugins", "enable", "inslab").returncode == 0
    result = tmp_path / "survey.gpkg"
    done = run("run", "inslab:readsurvey", f"--SURVEY_FOLDER={small_survey}", f"--SURVEY={result}")
    assert done.returncode == 0, done.stderr
    assert result.is_file()
    assert "LINE_COUNT" in done.stdout


def test_without_the_further_packages_it_loads_and_says_what_to_install(archive, small_survey, tmp_path):
    (tmp_path / "hide").mkdir()
    (tmp_path / "hide" / "sitecustomize.py").write_text(HIDE, encoding="utf-8")
    run = profile_with(archive, tmp_path / "profile")
    assert run("plugins", "enable", "inslab").returncode == 0
    hidden = {"PYTHONPATH": str(tmp_path / "hide")}
    assert "inslab:processsurvey" in run("list", **hidden).stdout
    result = tmp_path / "result"
    words = f"--SURVEY_FOLDER={small_survey}", f"--OUTPUT_FOLDER={result}"
    refused = run("run", "inslab:processsurvey", *words, **hidden)
    said = refused.stdout + refused.stderr
    assert refused.returncode != 0
    for part in ("scipy and rasterio", "Windows", "macOS", "Linux", "python3-scipy python3-rasterio"):
        assert part in said
    assert "Traceback" not in said
    assert not result.exists()


PANELS = """
import sys
sys.path.insert(0, TESTS)
import conftest
from pathlib import Path
from qgis.core import QgsApplication
application = QgsApplication([], True)
application.initQgis()
from unittest.mock import MagicMock
from qgis.gui import QgsMapCanvas
from qgis.PyQt.QtWidgets import QMainWindow
window, canvas, iface = QMainWindow(), QgsMapCanvas(), MagicMock()
iface.mainWindow.return_value, iface.mapCanvas.return_value = window, canvas
iface.addToolBar.side_effect = window.addToolBar
from inslab.plugin.docks.desk import Desk
from inslab.plugin.docks.registry import PANELS
from inslab.plugin.project.background import WorkTask
from inslab.plugin.docks.survey.runs import SurveyRunner, run_of
from inslab.plugin.provider import InslabProvider
provider = InslabProvider()
QgsApplication.processingRegistry().addProvider(provider)
desk = Desk(iface)
for entry in PANELS:
    assert desk.panel(entry.name) is not None
    print("opened", entry.name)
print("step:", *SurveyRunner().problems([run_of("depth slices", "folder", Path("survey.gpkg"))]))
def compose(monitor):
    from inslab.processing.radar import migration
task = WorkTask("a section", compose, lambda _: None)
assert not task.run()
print("section:", task.sentence)
sys.stdout.flush()
import os
os._exit(0)
"""


def test_panels_open_without_them_and_say_it_too():
    code = f"TESTS = {str(ROOT / 'tests')!r}\n{HIDE}\n{PANELS}"
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen"}
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd="/", env=environment, timeout=120, check=False
    )
    assert run.returncode == 0, run.stderr
    lines = run.stdout.splitlines()
    assert sum(line.startswith("opened") for line in lines) == 4
    (step,) = [line for line in lines if line.startswith("step:")]
    (section,) = [line for line in lines if line.startswith("section:")]
    for part in ("Windows", "macOS", "Linux"):
        assert part in step
        assert part in section
    assert "scipy and rasterio" in step
    assert "python3-scipy" in section
