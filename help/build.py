#!/usr/bin/env python3
"""Make the help's pages, and the tables of fields in docs: .venv/bin/python help/build.py [FOLDER]

From the Markdown in help/source and the texts of the algorithms; FOLDER (default: help/pages) is replaced. Pages of algorithms
are made in English and in every language that has a catalogue; the others are in English only. Without FOLDER the fields of
survey.gpkg and of a record are written anew from their schemas, too: they end docs/layers.md and docs/record.md.
"""

import html
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from string import Template

import markdown

ROOT = Path(__file__).resolve().parent.parent
SOURCE, PAGES, CATALOGUES = ROOT / "help" / "source", ROOT / "help" / "pages", ROOT / "languages"
DOCS = ROOT / "docs"
ENGLISH = "en"
# In the order of the navigation: what is worked with, then what is looked up.
SUBJECTS = (
    *(
        "index",
        "tutorial",
        "survey_panel",
        "set_up_form",
        "survey_folder",
        "map",
        "depth_panel",
        "section_panel",
        "corrections",
        "record_panel",
        "view_3d",
        "penetrations",
    ),
    *("record", "steps", "limits", "troubleshooting", "glossary"),
)
# Group of algorithms: the page that says more about it.
MORE = {
    "survey": "survey_panel",
    "depth": "depth_panel",
    "items": "section_panel",
    "penetrations": "penetrations",
    "record": "record_panel",
    "handover": "tutorial",
}
ALGORITHM_LIST, CAUTIONS, KINDS, LINES = "[[algorithms]]", "[[cautions]]", "[[kinds]]", "[[lines of kinds]]"
FIRST_TABLE = "### `"  # of the tables of fields; all from there on is made


def titles() -> dict:
    """Page: its first heading."""
    return {
        name: (SOURCE / f"{name}.md").read_text(encoding="utf-8").split("\n", 1)[0].lstrip("# ") for name in SUBJECTS
    }


class Pages:
    """Writes pages in one language; `folder` is where they go, `above` what stands before links to English pages."""

    def __init__(self, folder: Path, language: str, algorithms: list):
        from inslab.processing.common import cautions
        from inslab.processing.common.language import tr
        from inslab.processing.common.vocabulary import kinds

        self.folder, self.language, self.algorithms, self.tr = folder, language, algorithms, tr
        self.above = "" if language == ENGLISH else "../"
        self.cautions = list(cautions.ALL)
        self.caution = cautions.SHORT
        self.kinds = list(kinds.KINDS.values())
        self.template = Template((SOURCE / "page.html").read_text(encoding="utf-8"))
        self.titles = titles()

    def write(self, name: str, title: str, body: str) -> None:
        """One page with navigation and cautions."""
        links = "\n".join(
            f'<li><a href="{self.above}{subject}.html"{_here(subject == name)}>{_text(words)}</a></li>'
            for subject, words in self.titles.items()
        )
        page = self.template.substitute(
            language=self.language,
            title=_text(title),
            above=self.above,
            links=links,
            body=body,
            caution=_text(self.caution),
        )
        (self.folder / f"{name}.html").write_text(page, encoding="utf-8", newline="\n")

    def write_subject(self, name: str) -> None:
        """One Markdown file."""
        text = (SOURCE / f"{name}.md").read_text(encoding="utf-8")
        # In the Markdown files links lead to what is there to be read beside them.
        text = re.sub(r"\]\((\w+)\.md(#[\w-]+)?\)", r"](\1.html\2)", text).replace("](../pages/", "](")
        body = markdown.markdown(text, extensions=["tables", "toc", "sane_lists"])
        body = body.replace(f"<p>{ALGORITHM_LIST}</p>", self.list_of_algorithms())
        items = "".join(f"<li>{_text(sentence)}</li>" for sentence in self.cautions)
        body = body.replace(f"<p>{CAUTIONS}</p>", f"<ul>{items}</ul>")
        body = body.replace(f"<p>{LINES}</p>", self.lines_of_kinds())
        body = body.replace(KINDS, _text(", ".join(kind.word for kind in self.kinds)))
        self.write(name, self.titles[name], body)

    def lines_of_kinds(self) -> str:
        """Each kind with the line that stands for it on the map."""
        rows = []
        for kind in self.kinds:
            dashes = " ".join(f"{length:g}" for length in kind.on_map.dashes_mm or ())
            line = f'<line x1="0" y1="1" x2="18" y2="1" stroke="{kind.colour}" stroke-width="{kind.on_map.width_mm:g}"'
            line += f' stroke-dasharray="{dashes}"/>' if dashes else "/>"
            picture = f'<svg width="18mm" height="2mm" viewBox="0 0 18 2" aria-hidden="true">{line}</svg>'
            rows.append(f"<li>{picture} {_text(kind.title)}</li>")
        return "\n".join(["<ul>", *rows, "</ul>"])

    def list_of_algorithms(self) -> str:
        """All algorithms by group, each with its sentence."""
        parts, group = [], None
        for one in self.algorithms:
            if one.group() != group:
                parts += ["</dl>"] if group else []
                group = one.group()
                parts += [f"<h3>{_text(group)}</h3>", "<dl>"]
            parts.append(f'<dt><a href="{one.name()}.html">{_text(one.displayName())}</a></dt>')
            parts.append(f"<dd>{_text(one.shortDescription())}</dd>")
        return "\n".join([*parts, "</dl>"])

    def write_algorithm(self, one) -> None:
        """The page of an algorithm, from what the algorithm says of itself."""
        tr = self.tr
        parts = [f"<h1>{_text(one.displayName())}</h1>", f'<p class="lead">{_text(one.shortDescription())}</p>']
        parts.append(f"<p>{_text(one.DESCRIPTION)}</p>")
        definitions = one.parameterDefinitions()
        parts += [f"<h2>{_text(tr('Parameters'))}</h2>", "<dl>"]
        for definition in definitions:
            marks = [f"<code>{definition.name()}</code>", *map(_text, _marks(definition, tr))]
            parts.append(f"<dt>{_text(definition.description())} <small>{' · '.join(marks)}</small></dt>")
            parts.append(f"<dd>{_text(one.HELP[definition.name()])}</dd>")
        parts.append("</dl>")
        taken = {definition.name() for definition in definitions}
        outputs = [output for output in one.outputDefinitions() if output.name() not in taken]
        if outputs:
            parts += [f"<h2>{_text(tr('Further outputs'))}</h2>", "<dl>"]
            for output in outputs:
                parts.append(f"<dt>{_text(output.description())} <small><code>{output.name()}</code></small></dt>")
                parts.append(f"<dd>{_text(one.HELP[output.name()])}</dd>")
            parts.append("</dl>")
        parts += [f"<h2>{_text(tr('Command line'))}</h2>", f"<pre>{_text(_command(one))}</pre>"]
        if one.PACKAGES:
            needs = tr("It needs these Python packages: {packages}.", packages=", ".join(one.PACKAGES))
            parts.append(f"<p>{_text(needs)}</p>")
        more = MORE[one.groupId()]
        link = f'<a href="{self.above}{more}.html">{_text(self.titles[more])}</a>'
        parts.append(f"<p>{_text(tr('More about it:'))} {link}</p>")
        self.write(one.name(), one.displayName(), "\n".join(parts))


def _text(text: str) -> str:
    return html.escape(text, quote=False)


def _here(is_here: bool) -> str:
    return ' aria-current="page"' if is_here else ""


def _marks(definition, tr) -> list:
    """Optional, advanced, and the default where one line says it."""
    found = [tr("optional")] if definition.flags() & definition.Flag.FlagOptional else []
    if definition.flags() & definition.Flag.FlagAdvanced:
        found.append(tr("advanced"))
    default = definition.defaultValue()
    if isinstance(default, bool):
        found.append(tr("default: {value}", value=tr("yes") if default else tr("no")))
    elif isinstance(default, (int, float)) and not hasattr(definition, "options"):
        found.append(tr("default: {value}", value=f"{default:g}"))
    elif isinstance(default, str) and default:
        found.append(tr("default: {value}", value=default))
    return found


def _command(one) -> str:
    """How the algorithm is called in a terminal, with what must be given."""
    wanted = [
        definition.name()
        for definition in one.parameterDefinitions()
        if not definition.flags() & definition.Flag.FlagOptional
        and (definition.isDestination() or definition.defaultValue() is None)
    ]
    return " ".join([f"qgis_process run {one.id()}", *(f"--{name}=…" for name in wanted)])


def write_fields() -> None:
    """The tables of fields at the end of two pages of docs."""
    sys.path.insert(0, str(ROOT / "sample_project"))
    from make_sample import load_inslab

    load_inslab()
    from inslab.processing.record import schema as of_record
    from inslab.processing.store import schema as of_survey
    from inslab.processing.store.table_schema import as_markdown

    for name, tables, keyed in (("layers", of_survey.TABLES, False), ("record", of_record.TABLES, True)):
        page = DOCS / f"{name}.md"
        written = page.read_text(encoding="utf-8").partition(FIRST_TABLE)[0]
        page.write_text(written + as_markdown(tables.values(), keyed), encoding="utf-8", newline="\n")


def write_language(folder: Path, language: str) -> None:
    """The pages of one language; it must be the first that this process loads, since texts are translated on import."""
    sys.path.insert(0, str(ROOT / "sample_project"))
    from make_sample import load_inslab

    load_inslab()
    from inslab.processing.common import language as languages

    if language != ENGLISH:
        languages.use(language)
    from qgis.core import QgsApplication

    application = QgsApplication([], False)
    application.initQgis()
    from inslab.plugin.algorithms.base import GROUPS
    from inslab.plugin.provider import InslabProvider

    provider = InslabProvider()
    provider.loadAlgorithms()
    found = sorted(provider.algorithms(), key=lambda one: (list(GROUPS).index(one.groupId()), one.name()))
    pages = Pages(folder, language, found)
    for one in found:
        pages.write_algorithm(one)
    if language == ENGLISH:
        for name in SUBJECTS:
            pages.write_subject(name)
    application.exitQgis()


def build(folder: Path) -> None:
    """All pages in all languages, into an empty folder."""
    if folder.exists():
        shutil.rmtree(folder)
    codes = sorted(path.stem for path in CATALOGUES.glob("*.mo"))
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen", "PYTHONDONTWRITEBYTECODE": "1"}
    for code in (ENGLISH, *codes):
        place = folder if code == ENGLISH else folder / code
        place.mkdir(parents=True)
        subprocess.run([sys.executable, __file__, str(place), code], check=True, env=environment)
    shutil.copy(SOURCE / "style.css", folder)


if __name__ == "__main__":
    if len(sys.argv) == 3:
        write_language(Path(sys.argv[1]), sys.argv[2])
        sys.stdout.flush()
        os._exit(0)  # QGIS takes its time to leave, and some versions crash over it
    if len(sys.argv) == 2:
        build(Path(sys.argv[1]))
    else:
        build(PAGES)
        write_fields()
