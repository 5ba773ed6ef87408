"""The page that all reports are: one HTML file that stands alone and prints in grey, with its tables and the cautions.

No scripts, nothing from elsewhere; every text that came from a file is escaped.
"""

from html import escape
from typing import Iterable, List, Sequence

from ..common import cautions
from ..common.language import current, tr

STYLE = """
body { font: 10.5pt/1.45 "DejaVu Sans", Verdana, sans-serif; color: #1c1c1c; max-width: 62em; margin: 2em auto; padding: 0 1em; }
h1 { font-size: 1.6em; margin-bottom: 0.2em; }
h2 { font-size: 1.15em; margin: 1.8em 0 0.5em; border-bottom: 1px solid #8a8a8a; padding-bottom: 0.15em; }
p.source { color: #555; margin-top: 0; overflow-wrap: anywhere; }
table { border-collapse: collapse; width: 100%; }
th, td { text-align: left; vertical-align: top; padding: 0.2em 0.6em; border-bottom: 1px solid #d0d0d0; }
th { font-weight: 600; border-bottom-color: #8a8a8a; }
td.number, th.number { text-align: right; white-space: nowrap; }
.cautions { border: 2px solid #1c1c1c; padding: 0.4em 1em; }
.cautions li { margin: 0.25em 0; }
li.error { font-weight: 600; }
figure { margin: 1em 0; }
figure img { max-width: 100%; border: 1px solid #d0d0d0; }
figcaption { font-size: 0.9em; color: #555; }
table.signatures td { height: 3.4em; min-width: 8em; }
@media print { body { margin: 0; max-width: none; font-size: 9pt; } h2 { break-after: avoid; } tr, li { break-inside: avoid; } }
"""


def page(title: str, parts: Iterable[str]) -> str:
    """A whole HTML page from its parts, which are HTML already."""
    return (
        f'<!DOCTYPE html>\n<html lang="{current() or "en"}">\n<head>\n<meta charset="utf-8">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n"
        + "\n".join(parts)
        + "\n</body>\n</html>\n"
    )


def cautions_box() -> str:
    """What must be read before anyone drills."""
    lines = "\n".join(f"<li>{escape(sentence)}</li>" for sentence in cautions.ALL)
    return f'<h2>{tr("Before anyone drills")}</h2>\n<div class="cautions"><ul>\n{lines}\n</ul></div>'


def table(heads: Sequence[str], rows: Iterable[Sequence]) -> str:
    """A table; a head that starts with # is that of a column of numbers. Without words in any head there is no row of heads."""
    kinds = [' class="number"' if head.startswith("#") else "" for head in heads]
    out: List[str] = ["<table>"]
    if any(heads):
        out.append("<thead><tr>")
        out += [f"<th{kind}>{escape(head.lstrip('#'))}</th>" for head, kind in zip(heads, kinds)]
        out.append("</tr></thead>")
    out.append("<tbody>")
    for row in rows:
        out.append("<tr>" + "".join(f"<td{kind}>{escape(str(cell))}</td>" for cell, kind in zip(row, kinds)) + "</tr>")
    out.append("</tbody></table>")
    return "\n".join(out)


def millimetres(metres) -> str:
    return "" if metres is None else f"{1000 * float(metres):.1f}"
