"""The documents for people: what they name in the tree is there, and they stay short enough to be read."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
# A module may be named from the root, or short: as `items/join.py` for what lies under processing or plugin.
SHORTENED = ("", "processing", "plugin", "help", "docs")
TOP = {path.name for path in ROOT.iterdir()}
# Where a run or a person's own computer puts it; the tree has no such files.
MADE_BY_RUNS = ("sample_project/work/", ".venv/", "slices/", "origin/", "base/", "lines/", "python/plugins")


def named_files(text: str):
    """What stands in backticks and looks like a file or folder of the tree: with a slash, or ending in .py or .md."""
    outside_blocks = re.sub(r"^```.*?^```", "", text, flags=re.MULTILINE | re.DOTALL)
    for quoted in re.findall(r"`([^`\n]+)`", outside_blocks):
        word = quoted.split()[0].split("::")[0]
        like_a_path = re.fullmatch(r"\.?[\w.-]+(/[\w.-]+)*/?", word)
        first = word.split("/")[0]
        inside = any((ROOT / folder / first).exists() for folder in SHORTENED)
        if like_a_path and (word.endswith((".py", ".md")) or ("/" in word and inside)):
            yield word


def exists(word: str) -> bool:
    return any((ROOT / folder / word).exists() for folder in SHORTENED)


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_every_file_that_is_named_is_there(document):
    named = [word for word in named_files(document.read_text(encoding="utf-8")) if not word.startswith(MADE_BY_RUNS)]
    assert [word for word in named if not exists(word)] == []


def test_a_file_that_is_not_there_is_noticed():
    found = list(named_files("See `items/join.py`, `processing/nowhere/`, `lost.py` and `a/b`.\n```\n`gone.py`\n```\n"))
    assert found == ["items/join.py", "processing/nowhere/", "lost.py"]
    assert [word for word in found if not exists(word)] == ["processing/nowhere/", "lost.py"]


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_links_lead_to_files_of_the_tree(document):
    links = re.findall(r"\]\(([^)#]+)", document.read_text(encoding="utf-8"))
    assert [link for link in links if not (document.parent / link).exists()] == []


@pytest.mark.parametrize(("name", "most"), [("README.md", 1200), ("DEVELOPERS.md", 2000)])
def test_what_a_newcomer_reads_first_is_short(name, most):
    assert len((ROOT / name).read_text(encoding="utf-8").split()) < most
