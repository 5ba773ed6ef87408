"""The schema of survey.gpkg: complete, the only place that names its layers and fields, and what its page says."""

import ast
import re
from pathlib import Path

import pytest

from inslab.processing.record import schema as record_schema
from inslab.processing.store import schema
from inslab.processing.store.table_schema import Table, as_markdown

ROOT = Path(__file__).resolve().parents[3]
CODE = sorted([*ROOT.glob("processing/**/*.py"), *ROOT.glob("plugin/**/*.py")])
LAYERS = set(schema.TABLES)
FIELDS = {name for table in schema.TABLES.values() for name in table.columns}

# What else is called like a layer or field there, and so may stand as a literal: everything in a file, or some names.
OTHER_THINGS = {
    "processing/store/schema_": "the schema itself",
    "processing/survey/": "columns of the survey folder's tables, and attributes of what they become",
    "processing/store/survey_setup.py": "columns of the survey folder's tables",
    "plugin/setup/": "columns of the survey folder's tables",
    "processing/items/known_depths.py": "columns of the survey folder's tables",
    "processing/site/": "columns of the survey folder's tables; attributes of observations",
    "processing/record/": "columns of the record, which its own schema states",
    "plugin/algorithms/penetration_inputs.py": "columns of a person's table of penetrations",
}
OTHER_NAMES = {
    "plugin/algorithms/base.py": ("items",),  # a group of algorithms
    "plugin/algorithms/drillsheet.py": ("layer",),  # fills in a sentence
    "plugin/algorithms/imaging.py": ("sample_interval_ns",),  # arguments of a step, by name
    "plugin/algorithms/routechase.py": ("depth_m", "width_m", "tolerance_m"),  # arguments of a step, by name
    "plugin/docks/record/panel.py": ("level", "width_m", "depth_m"),  # arguments of a question, by name
    "plugin/docks/survey/steps.py": ("note",),  # how bad a finding is
    "plugin/project/layers.py": ("path",),  # a part of what QGIS calls a source
    "plugin/project/shown.py": ("path",),  # a part of what QGIS calls a source
    "processing/area/plain_data.py": ("path",),  # what goes to a process of its own, as JSON
    "processing/area/runners.py": ("path",),  # what goes to a process of its own, as JSON
    "processing/area/worker.py": ("path",),  # what goes to a process of its own, as JSON
    "processing/common/vocabulary/values.py": ("note",),  # words and what they are in the user's language
    "processing/drawings/export.py": ("text",),  # a table of that file
    "processing/drawings/onto_grid.py": ("text",),  # columns of a drawing
    "processing/drawings/set_out_points.py": ("point_id", "x_m", "y_m", "depth_m"),  # columns of the table of points
    "processing/steps/clearspace.py": ("depth_m", "tolerance_m"),  # what a raster states of itself
    "processing/steps/processsurvey.py": ("sample_interval_ns",),  # a parameter in the run log
    "processing/steps/readsurvey.py": ("sample_interval_ns",),  # a parameter in the run log
    "processing/steps/shared/survey_state.py": ("file", "fingerprint"),  # parameters in the run log
    "processing/store/fingerprints.py": ("file",),  # a column of the survey folder's tables
    "processing/store/rasters.py": ("x_m", "y_m", "depth_m", "strength_db"),  # arrays put aside on disk
    "processing/views/section.py": ("depth_min_m", "depth_max_m"),  # what a raster states of itself
    "processing/views/solids.py": ("sigma_m",),  # a column of the file of bodies
}


def relative(file):
    return file.relative_to(ROOT).as_posix()


def is_key(node, parents):
    """Is this text used as the name of a column: x["level"], {"level": 1}, row.get("level")?"""
    above = parents.get(node)
    if isinstance(above, ast.Subscript):
        return above.slice is node
    if isinstance(above, ast.Dict):
        return node in above.keys
    if isinstance(above, ast.DictComp):
        return above.key is node
    return (
        isinstance(above, ast.Call)
        and isinstance(above.func, ast.Attribute)
        and above.func.attr in {"get", "pop", "setdefault", "indexOf", "fromField", "layer", "of_plane", "values"}
        and above.args[:1] == [node]
    )


def literals(source):
    """Yield (line, name) of each literal that names a layer or field.

    A name of several words counts wherever it stands, one of a single word ('level', 'items') only where it is used as a key,
    and any that stands in double quotes inside a text, as expressions and SQL write columns.
    """
    tree = ast.parse(source)
    parents = {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    texts = {node.value for node in ast.walk(tree) if isinstance(node, ast.Expr)}  # docstrings
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or not isinstance(node.value, str) or node in texts:
            continue
        if node.value in LAYERS | FIELDS and ("_" in node.value or is_key(node, parents)):
            yield node.lineno, node.value
        yield from ((node.lineno, name) for name in re.findall(r'(?<!=)"(\w+)"', node.value) if name in FIELDS)


@pytest.mark.parametrize("file", CODE, ids=relative)
def test_no_layer_or_field_stands_as_a_literal(file):
    name = relative(file)
    if any(name.startswith(start) for start in OTHER_THINGS):
        return
    allowed = OTHER_NAMES.get(name, ())
    found = [
        f"line {line}: {literal}"
        for line, literal in literals(file.read_text(encoding="utf-8"))
        if literal not in allowed
    ]
    assert not found


def test_every_exception_is_needed():
    for start in OTHER_THINGS:
        files = [file for file in CODE if relative(file).startswith(start)]
        assert any(list(literals(file.read_text(encoding="utf-8"))) for file in files), start
    for name, allowed in OTHER_NAMES.items():
        found = {literal for _, literal in literals((ROOT / name).read_text(encoding="utf-8"))}
        assert set(allowed) <= found, name


@pytest.mark.parametrize(
    "source",
    [
        'x = row["level"]',
        'x = row.get("flag")',
        "x = {'wall': 1}",
        "name = 'depth_min_m'",
        "where = '\"level\" = 1'",
        "x = f\"{row['kind']}\"",
        "layer = 'scan_areas'",
    ],
)
def test_the_search_sees_each_way_of_writing_a_name(source):
    assert len(list(literals(source))) == 1


def test_the_search_leaves_words_and_attributes_alone():
    assert not list(literals('"""The level."""\nx = area.level if surface == "wall" else f(depth_m=1)\n'))


def tables_of(module):
    return {name: value for name, value in vars(module).items() if isinstance(value, Table)}


@pytest.mark.parametrize("file", CODE, ids=relative)
def test_every_name_that_is_asked_of_a_table_is_one_of_its_fields(file):
    """Also in branches that no test runs."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    known = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[-1].startswith("schema"):
            module = (
                record_schema if "record" in f"{node.module}{file.parent.name if node.level == 1 else ''}" else schema
            )
            tables = tables_of(module)
            known.update(
                {alias.asname or alias.name: tables[alias.name] for alias in node.names if alias.name in tables}
            )
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in known:
            assert hasattr(known[node.value.id], node.attr), f"line {node.lineno}: {ast.unparse(node)}"


def test_no_field_is_called_like_something_of_the_table_itself():
    for table in schema.TABLES.values():
        for name in table.columns:
            assert getattr(table, name) == name


def test_names_of_a_table_are_unique_and_every_field_says_something():
    assert list(schema.TABLES) == [table.name for table in schema.TABLES.values()]
    for table in schema.TABLES.values():
        assert len(table.columns) == len(table.fields), table.name
        assert table.description.endswith(".")
        assert all(field.says for field in table.fields)


def test_the_page_of_layers_is_that_of_the_schema():
    page = (ROOT / "docs" / "layers.md").read_text(encoding="utf-8")
    assert page.endswith(as_markdown(schema.TABLES.values(), keyed=False))
