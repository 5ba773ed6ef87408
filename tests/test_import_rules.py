"""The walls of the design: what may import what, and code that every supported Python and Qt can run."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE_FILES = sorted([*ROOT.glob("*.py"), *ROOT.glob("processing/**/*.py"), *ROOT.glob("plugin/**/*.py")])
PLUGIN_FILES = [file for file in PACKAGE_FILES if "plugin" in file.parts[len(ROOT.parts) :][:1]]
PROCESSING_FILES = [file for file in PACKAGE_FILES if "processing" in file.parts[len(ROOT.parts) :][:1]]

# What most folders may import.
GROUND = ["common", "common.vocabulary", "geometry"]
# The layers of the architecture, the lowest first: what each folder may import from, besides itself. Each name is a decision: to
# add one is to draw an arrow of the design. None: from all above it in this table.
LAYERS = {
    "common": None,
    "common.vocabulary": None,
    "geometry": None,
    "survey.formats": ["common"],
    "survey": ["common", "common.vocabulary", "survey.formats"],
    "site": [*GROUND, "survey"],
    "radar": [*GROUND, "survey"],
    "tracks": [*GROUND, "survey", "radar"],
    "speed": [*GROUND, "survey", "radar", "tracks"],
    "items": [*GROUND, "survey", "radar", "tracks", "speed"],
    "area": [*GROUND, "survey", "site", "radar", "tracks", "speed", "items"],
    "floor": [*GROUND, "survey", "site", "radar", "items", "area"],
    "store": [*GROUND, "survey", "site", "radar", "speed", "items", "floor"],
    "edits": [*GROUND, "survey", "site", "items", "floor", "store"],
    "record": [*GROUND, "site", "radar", "speed", "items", "store", "edits"],
    "penetrations": [*GROUND, "site", "floor", "store", "edits"],
    "reports": [*GROUND, "survey", "site", "radar", "store", "record"],
    "views": [*GROUND, "survey", "site", "radar", "items", "area", "floor", "store", "penetrations"],
    "drawings": [*GROUND, "site", "store", "reports"],
    "steps.shared": None,
    "steps": None,
}
# The same for `plugin`: what stands in a folder may import from those above it. `main` and `provider` see everything.
ROOMS = ("", "styles", "project", "record", "view3d", "maptools", "layouts", "algorithms", "setup", "docks")
MOST_MODULES, MOST_LINES = 20, 400
ONE_FOR_EACH_ALGORITHM = {"plugin/algorithms", "processing/steps"}


def folder_of(module, root):
    """Folder below `root` in which a dotted module lies, with dots."""
    parts = module.split(".")[2:]
    path = ROOT / root
    inside = []
    for part in parts:
        path = path / part
        if not path.is_dir():
            break
        inside.append(part)
    return ".".join(inside)


def relative(file):
    return str(file.relative_to(ROOT))


def imported(file, top=False):
    """Yield (line, dotted module) of each import, relative ones as seen from the root package; `top`: not in functions."""
    package = ["inslab", *file.relative_to(ROOT).parent.parts]
    tree = ast.parse(file.read_text(encoding="utf-8"))
    for node in tree.body if top else ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            yield node.lineno, module
            yield from ((node.lineno, f"{module}.{alias.name}") for alias in node.names)


@pytest.mark.parametrize("file", PROCESSING_FILES, ids=relative)
def test_processing_imports_neither_qgis_nor_plugin(file):
    for line, module in imported(file):
        first, *rest = module.split(".")
        assert first not in {"qgis", "PyQt5", "PyQt6", "processing", "plugin"}, f"line {line}: {module}"
        assert rest[:1] != ["plugin"] or first != "inslab", f"line {line}: {module}"


@pytest.mark.parametrize(
    "file", [file for file in PROCESSING_FILES if file.parent != ROOT / "processing"], ids=relative
)
def test_arrows_between_folders_point_one_way(file):
    names = list(LAYERS)
    own = ".".join(file.relative_to(ROOT / "processing").parent.parts)
    allowed = names[: names.index(own)] if LAYERS[own] is None else LAYERS[own]
    for line, module in imported(file):
        if module.startswith("inslab.processing."):
            folder = folder_of(module, "processing")
            assert folder in {own, *allowed, ""}, f"line {line}: {module}"


def test_every_folder_that_is_named_lies_above():
    names = list(LAYERS)
    for own, allowed in LAYERS.items():
        assert set(allowed or ()) <= set(names[: names.index(own)]), own


def test_every_folder_of_processing_is_in_the_table():
    folders = {".".join(file.parent.relative_to(ROOT / "processing").parts) for file in PROCESSING_FILES} - {""}
    assert folders == set(LAYERS)


@pytest.mark.parametrize("file", PLUGIN_FILES, ids=relative)
def test_arrows_between_rooms_of_the_plugin_point_one_way(file):
    own = file.relative_to(ROOT / "plugin").parts[0] if file.parent != ROOT / "plugin" else ""
    if file in {ROOT / "plugin" / "main.py", ROOT / "plugin" / "provider.py"}:
        return
    allowed = ROOMS[: ROOMS.index(own) + 1]
    for line, module in imported(file):
        if module.startswith("inslab.plugin."):
            folder = folder_of(module, "plugin").split(".")[0]
            assert folder in allowed, f"line {line}: {module}"


def test_no_module_imports_itself_through_others():
    """Imports at the top of modules make no circle; those inside functions wait until they are called."""
    modules = {}
    for file in PACKAGE_FILES:
        name = ".".join(["inslab", *file.relative_to(ROOT).with_suffix("").parts]).removesuffix(".__init__")
        modules[name] = file
    arrows = {name: {module for _, module in imported(file, top=True)} & set(modules) for name, file in modules.items()}
    done, path = set(), []

    def visit(name):
        assert name not in path, " -> ".join([*path[path.index(name) :], name])
        if name in done:
            return
        path.append(name)
        for other in sorted(arrows[name]):
            visit(other)
        path.pop()
        done.add(name)

    for name in sorted(modules):
        visit(name)


def test_folders_and_files_stay_small_enough_to_read():
    for folder in {file.parent for file in PACKAGE_FILES}:
        count = len([file for file in PACKAGE_FILES if file.parent == folder and file.name != "__init__.py"])
        assert count <= MOST_MODULES or relative(folder) in ONE_FOR_EACH_ALGORITHM, (
            f"{relative(folder)}: {count} modules"
        )
    for file in PACKAGE_FILES:
        count = len(file.read_text(encoding="utf-8").splitlines())
        assert count <= MOST_LINES, f"{relative(file)}: {count} lines"


@pytest.mark.parametrize("file", PACKAGE_FILES, ids=relative)
def test_imports_inside_the_package_are_relative(file):
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom) and not node.level:
            names = [node.module]
        for name in names:
            assert name.split(".")[0] not in {"inslab", "processing", "plugin"}, f"line {node.lineno}: {name}"


IMPORT_ALL = """
import importlib, importlib.abc, pkgutil, sys

class Refuse(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in REFUSED:
            raise ModuleNotFoundError(f"{name} is refused by this test", name=name)

sys.meta_path.insert(0, Refuse())
sys.path.insert(0, TESTS)
import conftest
import inslab.processing
for module in pkgutil.walk_packages(inslab.processing.__path__, "inslab.processing."):
    if not module.name.startswith(SKIPPED):
        importlib.import_module(module.name)
        print(module.name)
"""


def import_all(refused, skipped=()):
    code = f"REFUSED = {set(refused)!r}\nSKIPPED = {tuple(skipped)!r}\nTESTS = {str(ROOT / 'tests')!r}\n{IMPORT_ALL}"
    return subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd="/", check=False)


def test_processing_loads_where_there_is_no_qgis():
    run = import_all({"qgis", "PyQt5", "PyQt6", "processing", "plugin"})
    assert run.returncode == 0, run.stderr
    assert "inslab.processing.survey.formats.segy" in run.stdout.split()


def test_all_but_radar_and_items_load_with_numpy_alone():
    refused = {"qgis", "PyQt5", "PyQt6", "processing", "osgeo", "scipy", "shapely", "pyproj", "rasterio"}
    run = import_all(refused, [f"inslab.processing.{name}" for name in ("radar", "tracks", "speed", "items")])
    assert run.returncode == 0, run.stderr
    assert "inslab.processing.steps.processsurvey" in run.stdout.split()


@pytest.mark.parametrize("file", PACKAGE_FILES, ids=relative)
def test_python_3_9_can_read_it(file):
    ast.parse(file.read_text(encoding="utf-8"), feature_version=(3, 9))


def unscoped_enums(source):
    """Yield 'line: dotted name' of each enum value that is written without the name of its enum (gone in Qt 6)."""
    import importlib
    from enum import Enum

    tree = ast.parse(source)
    names = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("qgis"):
            module = importlib.import_module(node.module)
            names.update({alias.asname or alias.name: getattr(module, alias.name, None) for alias in node.names})

    def value(node):
        if isinstance(node, ast.Name):
            return names.get(node.id)
        owner = value(node.value) if isinstance(node, ast.Attribute) else None
        return getattr(owner, node.attr, None) if owner is not None else None

    for node in ast.walk(tree):
        if not isinstance(node, ast.Attribute):
            continue
        owner, found = value(node.value), value(node)
        plain = type(found) in (int, bool, str)  # QGIS_VERSION_INT and other constants
        if (
            isinstance(owner, type)
            and isinstance(found, (int, Enum))
            and not plain
            and not issubclass(owner, (int, Enum))
        ):
            yield f"{node.lineno}: {ast.unparse(node)}"


@pytest.mark.parametrize("file", PLUGIN_FILES, ids=relative)
def test_enum_values_are_written_with_the_name_of_their_enum(file):
    assert list(unscoped_enums(file.read_text(encoding="utf-8"))) == []


def test_the_enum_check_sees_an_unscoped_value():
    source = "from qgis.PyQt.QtCore import Qt\nfrom qgis.core import Qgis\nQt.AlignLeft\nQt.AlignmentFlag.AlignLeft\n"
    assert list(unscoped_enums(source + "Qgis.QGIS_VERSION_INT\n")) == ["3: Qt.AlignLeft"]
