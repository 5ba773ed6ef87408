"""The walls of the design: what may import what, and code that every supported Python and Qt can run."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE_FILES = sorted([*ROOT.glob("*.py"), *ROOT.glob("processing/**/*.py"), *ROOT.glob("plugin/**/*.py")])
PROCESSING_FILES = [file for file in PACKAGE_FILES if "processing" in file.parts[len(ROOT.parts) :][:1]]

# Package: the packages of `processing` it may import from, besides itself.
ALLOWED = {
    "survey": set(),
    "site": {"survey"},
    "radar": {"survey"},
    "items": {"survey", "radar"},
    "penetrations": {"survey", "radar", "items"},
    "record": {"survey", "radar", "items"},
}
SHARED = {"errors", "gdal_failures", "language", "monitor", "together"}


def relative(file):
    return str(file.relative_to(ROOT))


def imported(file):
    """Yield (line, dotted module) of each import, relative ones as seen from the root package."""
    package = ["inslab", *file.relative_to(ROOT).parent.parts]
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
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


@pytest.mark.parametrize("file", [file for file in PROCESSING_FILES if file.parent.name in ALLOWED], ids=relative)
def test_arrows_between_packages_point_one_way(file):
    package = file.parent.name  # chain and outputs are not asked: they compose everything
    for line, module in imported(file):
        parts = module.split(".")
        if parts[:2] == ["inslab", "processing"] and len(parts) > 2:
            assert parts[2] in {package, *ALLOWED[package], *SHARED}, f"line {line}: {module}"


def test_every_package_of_processing_is_covered_by_the_arrows():
    packages = {file.parent.name for file in ROOT.glob("processing/*/__init__.py")}
    assert packages <= {*ALLOWED, "outputs"}


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
    assert "inslab.processing.survey.segy" in run.stdout.split()


def test_all_but_radar_and_items_load_with_numpy_alone():
    refused = {"qgis", "PyQt5", "PyQt6", "processing", "osgeo", "scipy", "shapely", "pyproj", "rasterio"}
    run = import_all(refused, ["inslab.processing.radar", "inslab.processing.items"])
    assert run.returncode == 0, run.stderr
    assert "inslab.processing.chain" in run.stdout.split()


@pytest.mark.parametrize("file", PACKAGE_FILES, ids=relative)
def test_python_3_9_can_read_it(file):
    ast.parse(file.read_text(encoding="utf-8"), feature_version=(3, 9))


PLUGIN_FILES = [file for file in PACKAGE_FILES if "plugin" in file.parts[len(ROOT.parts) :][:1]]


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
