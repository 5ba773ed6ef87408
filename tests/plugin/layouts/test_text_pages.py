"""Text set on pages: nothing lost, nothing cut off, heads repeated."""

import pytest

from inslab.processing.reports.content import Section, Signatures, Table, Text

HEADS = ("Name", "#Number", "Words")


@pytest.fixture
def set_pages(qgis_app):
    from qgis.PyQt.QtCore import QSizeF

    from inslab.plugin.layouts.text_pages import TextPages

    def pages(sections, title=""):
        return TextPages(title, sections, QSizeF(2126, 3130), 300)  # A4 less its margins at 300 dots an inch

    return pages


def rows_of(count):
    return [(f"row {n}", n, "word " * (n % 40)) for n in range(count)]


def test_a_long_table_goes_on_under_the_same_heads(set_pages):
    made = set_pages([Section("Long", [Text("Before."), Table(HEADS, rows_of(150), widths=(20, 10, 70))])])
    texts = [page.toPlainText() for page in made.pages]
    assert len(texts) > 3
    assert all("Name\nNumber\nWords" in text for text in texts)
    found = [line for text in texts for line in text.splitlines() if line.startswith("row ")]
    assert found == [f"row {n}" for n in range(150)]


def test_no_page_is_fuller_than_it_can_be_and_none_is_empty(set_pages):
    sections = [Section(f"Section {n}", [Text("A sentence. " * n), Table(HEADS, rows_of(n))]) for n in range(1, 40)]
    made = set_pages(sections, "Title")
    for page in made.pages:
        assert page.size().height() <= made.size.height()
        assert page.toPlainText().strip()


def test_a_heading_stays_with_what_follows(set_pages):
    """Whatever stands above it."""
    for lines in range(40, 70, 3):
        above = [Text("x") for _ in range(lines)]
        made = set_pages([Section("", above), Section("Heading", [Text("Before."), Table(HEADS, rows_of(3))])])
        page = next(page.toPlainText() for page in made.pages if "Heading" in page.toPlainText())
        assert "Before." in page
        assert "row 0" in page


def test_lines_to_sign_are_not_parted_from_their_heading(set_pages):
    for lines in range(40, 70, 3):
        sections = [
            Section("", [Text("x") for _ in range(lines)]),
            Section("Signatures", [Text("Text."), Signatures(("One", "Two", "Three"))]),
        ]
        page = next(p.toPlainText() for p in set_pages(sections).pages if "Signatures" in p.toPlainText())
        assert "Three" in page


def test_what_came_from_a_file_is_not_taken_for_markup(set_pages):
    made = set_pages([Section("<b>bold</b>", [Table(HEADS, [("<i>x</i>", 1, "a & b")])])], "<u>t</u>")
    text = made.pages[0].toPlainText()
    for words in ("<b>bold</b>", "<i>x</i>", "a & b", "<u>t</u>"):
        assert words in text
