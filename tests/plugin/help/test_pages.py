"""The help's pages: up to date, whole, without network and scripts, and true where they quote the program."""

import ast
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
HELP, PAGES, SOURCE, PICTURES = (ROOT / "help" / name for name in ("", "pages", "source", "pictures"))
FOUND = sorted(PAGES.rglob("*.html"))
PARTS = re.compile(r"\{[^{}]*\}")


class Links(HTMLParser):
    """Collects tags, links, and the places that can be linked to."""

    def __init__(self, path: Path):
        super().__init__()
        self.tags, self.links, self.ids, self.pictures = set(), [], set(), []
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag, attrs):
        values = dict(attrs)
        self.tags.add(tag)
        self.ids.add(values.get("id"))
        self.links += [values[name] for name in ("href", "src") if name in values]
        if tag == "img":
            self.pictures.append(values)


def test_the_pages_are_those_that_their_sources_make(tmp_path):
    made = tmp_path / "pages"
    subprocess.run([sys.executable, ROOT / "help" / "build.py", made], check=True, timeout=300)
    contents = [
        {path.relative_to(folder).as_posix(): path.read_text(encoding="utf-8") for path in folder.rglob("*.*")}
        for folder in (PAGES, made)
    ]
    assert sorted(contents[0]) == sorted(contents[1]), "run help/build.py"
    different = [name for name, text in contents[1].items() if contents[0][name] != text]
    assert not different, "run help/build.py"


def test_every_algorithm_panel_and_subject_has_its_page(inslab_provider):
    from inslab.plugin.docks.registry import PANELS
    from inslab.plugin.setup.form import HELP_PAGE

    names = [one.name() for one in inslab_provider.algorithms()] + [one.name for one in PANELS] + [HELP_PAGE, "index"]
    names += [path.stem for path in SOURCE.glob("*.md")]
    missing = [name for name in names if not (PAGES / f"{name}.html").is_file()]
    assert not missing, "write help/source/<name>.md, name it in help/build.py, and run that"


@pytest.mark.parametrize("page", FOUND, ids=lambda path: path.relative_to(PAGES).as_posix())
def test_links_and_pictures_are_there_and_nothing_needs_a_network(page):
    links = Links(page)
    assert "script" not in links.tags
    for link in links.links:
        assert not re.match(r"[a-z]+:", link), link
        file, _, place = link.partition("#")
        target = (page.parent / file).resolve() if file else page
        assert target.is_file(), link
        assert HELP in target.parents, f"{link} is not shipped"
        assert not place or place in Links(target).ids, link
    assert all(len(picture["alt"]) > 10 for picture in links.pictures)
    assert "does not guarantee detection" in page.read_text(encoding="utf-8") or page.parent != PAGES


@pytest.mark.parametrize("page", sorted(SOURCE.glob("*.md")), ids=lambda path: path.stem)
def test_links_of_the_sources_are_there(page):
    links = re.findall(r"\]\(([^)#]+)", page.read_text(encoding="utf-8"))
    assert [link for link in links if not (page.parent / link).is_file()] == []


def test_what_is_filled_in_from_tables_is_filled_in():
    for page in FOUND:
        assert "[[" not in page.read_text(encoding="utf-8"), page.name


def test_every_page_can_be_reached_from_the_first():
    seen, to_do = set(), [PAGES / "index.html"]
    while to_do:
        page = to_do.pop()
        if page not in seen and page.suffix == ".html":
            seen.add(page)
            to_do += [(page.parent / link.partition("#")[0]).resolve() for link in Links(page).links]
    assert {path for path in FOUND if path.parent == PAGES} <= seen


def test_pictures_are_small_and_each_is_shown():
    pictures = sorted(PICTURES.glob("*.png"))
    assert sum(path.stat().st_size for path in pictures) < 2e6
    texts = "".join(path.read_text(encoding="utf-8") for path in [*SOURCE.glob("*.md"), ROOT / "README.md"])
    assert [path.name for path in pictures if path.name not in texts] == []


def literals():
    """All texts in the plugin's code, with … where a value is filled in."""
    for folder in ("processing", "plugin"):
        for path in (ROOT / folder).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Constant) and isinstance(node.value, str):
                    yield PARTS.sub("…", node.value)
                elif isinstance(node, ast.JoinedStr):
                    parts = (one.value if isinstance(one, ast.Constant) else "…" for one in node.values)
                    yield "".join(PARTS.sub("…", part) for part in parts)


def test_every_message_that_is_explained_is_one_of_the_program():
    text = (SOURCE / "troubleshooting.md").read_text(encoding="utf-8")
    messages = re.findall(r"^### (.+)$", text, re.MULTILINE)
    assert len(messages) > 40
    known = "\n".join(set(literals()))
    assert [message for message in messages if message not in known] == []


def test_names_of_buttons_and_columns_are_those_of_the_program():
    """What a page puts in italics is a name on the screen, a title of an algorithm, or a word in quotation."""
    known = "\n".join([*literals(), (ROOT / "sample_project" / "build_project.py").read_text(encoding="utf-8")])
    for path in SOURCE.glob("*.md"):
        names = re.findall(r"(?<![*\w])\*([A-Z][^*\n]{2,40})\*(?!\*)", path.read_text(encoding="utf-8"))
        for name in names:
            for part in name.split(", "):
                assert part in known or part in OF_QGIS, f"{path.name}: {part}"


OF_QGIS = {"Plugins", "Help", "Advanced parameters", "Log", "CSV UTF-8", "Run", "Hidden is not clear"}
