"""What stands in an HTML page: tags, their attributes, and the text between them."""

from html.parser import HTMLParser

# What our own pages consist of; a stranger's text could bring others in.
TAGS = {
    *("html", "head", "meta", "title", "style", "body", "h1", "h2", "p", "br", "div", "ul", "li"),
    *("table", "thead", "tbody", "tr", "th", "td", "figure", "img", "figcaption"),
}
ATTRIBUTES = {"lang", "charset", "class", "width", "src", "alt"}
# Texts as a stranger's file might hold them: a program, the end of an attribute or of a cell, an entity.
HOSTILE = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "' onmouseover='alert(1)",
    "</td></table><h1>clear</h1>",
    "&lt;b&gt; & <!--",
]
ALL_HOSTILE = " ".join(HOSTILE)


class _Reader(HTMLParser):
    def __init__(self):
        super().__init__()
        self.foreign, self.text = [], []

    def handle_starttag(self, tag, attributes):
        names = {name for name, _ in attributes}
        sources = [value for name, value in attributes if name == "src" and not value.startswith("data:image/png;")]
        if tag not in TAGS or names - ATTRIBUTES or sources:
            self.foreign.append(self.get_starttag_text())

    def handle_comment(self, data):
        self.foreign.append(f"<!--{data}-->")

    def handle_data(self, data):
        self.text.append(data)


def check_page(html: str, *texts: str) -> None:
    """Asserts that a page has nothing but our own tags, and that these texts stand in it as they are."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    assert reader.foreign == []
    shown = "".join(reader.text)
    for text in texts:
        assert text in shown
