"""Tables and numbers as the reports show them; every text is escaped."""

from html import escape
from typing import Iterable, List, Sequence


def table(heads: Sequence[str], rows: Iterable[Sequence]) -> str:
    """A table; a head that starts with # is that of a column of numbers."""
    kinds = [' class="number"' if head.startswith("#") else "" for head in heads]
    out: List[str] = ["<table>", "<thead><tr>"]
    out += [f"<th{kind}>{escape(head.lstrip('#'))}</th>" for head, kind in zip(heads, kinds)]
    out.append("</tr></thead>\n<tbody>")
    for row in rows:
        out.append("<tr>" + "".join(f"<td{kind}>{escape(str(cell))}</td>" for cell, kind in zip(row, kinds)) + "</tr>")
    out.append("</tbody></table>")
    return "\n".join(out)


def millimetres(metres) -> str:
    return "" if metres is None else f"{1000 * float(metres):.1f}"
