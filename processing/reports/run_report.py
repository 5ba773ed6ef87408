"""The report of a run: one HTML file that stands alone, prints in grey, and carries the cautions.

No scripts, no pictures, nothing from elsewhere; every text that came from a file is escaped.
"""

from html import escape

from ..common.kind_names import kind_name
from ..common.language import tr
from ..common.words import method_words, word
from ..floor.mats import find_all_mats
from ..floor.result import ChainResult
from ..items.model import KINDS
from ..store.layers import software_version
from .fit_part import fit_sections
from .mats_part import mat_section
from .page import cautions_box, millimetres, page, table


def report_html(result: ChainResult) -> str:
    """The whole report as text; parts of steps that did not run are left out. The same result gives the same text."""
    name = result.survey.folder.name
    parts = [
        f"<h1>{tr('Survey {name}', name=escape(name))}</h1>",
        f'<p class="source">{tr("Survey folder: {folder}", folder=escape(str(result.survey.folder)))}<br>'
        f"Inslab {escape(software_version())}</p>",
        cautions_box(),
        _areas(result),
        _findings(result),
        *fit_sections(result),
    ]
    if result.wave_speeds:
        parts.append(_wave_speeds(result))
    if result.items or result.coverage:
        parts += [_coverage(result), _items(result), mat_section(find_all_mats(result))]
    return page(tr("Survey {name}", name=name), parts)


def _areas(result: ChainResult) -> str:
    rows = []
    for area in result.survey.areas:
        fit = result.fits[area.area_id]
        rows.append(
            (
                area.area_id,
                area.level,
                word(area.surface),
                len(area.lines),
                f"{sum(line.length_m for line in area.lines):.1f}",
                word(fit.status),
                millimetres(fit.rms_residual_m if fit.is_fitted else None),
                millimetres(fit.sigma_xy_m),
                area.scanned_on,
                result.failures.get(area.area_id, ""),
            )
        )
    heads = (
        tr("Area"),
        tr("Level"),
        tr("Surface"),
        tr("#Lines"),
        tr("#Length m"),
        tr("Position"),
        tr("#RMS residual mm"),
        tr("#Sigma mm"),
        tr("Scanned"),
        tr("Not done"),
    )
    text = tr(
        "Sigma is the 1-sigma uncertainty of the area's place on the site grid where it is known best (the "
        "middle of its control points); it grows outwards. Surfaces: 'soffit' is seen from below, 'wall' has "
        "the coordinates of its elevation."
    )
    return _section(tr("Scan areas"), table(heads, rows), f"<p>{text}</p>")


def _findings(result: ChainResult) -> str:
    if not result.findings:
        return _section(tr("Findings"), f"<p>{tr('Nothing was left out, and nothing needs a look.')}</p>")
    lines = [
        f'<li class="{escape(found.severity)}">{escape(word(found.severity))}: {escape(word(found.where))}: '
        f"{escape(found.text)}</li>"
        for found in result.findings
    ]
    text = tr("An error means that the thing was left out, a warning that it was used and needs a look.")
    return _section(tr("Findings"), f"<p>{text}</p>", "<ul>", *lines, "</ul>")


def _wave_speeds(result: ChainResult) -> str:
    rows = [
        (
            area_id,
            f"{speed.speed_m_ns:.4f} ± {speed.sigma_m_ns:.4f}",
            f"{speed.relative_permittivity:.2f}",
            f"{speed.time_zero_ns:.3f} ± {speed.sigma_time_zero_ns:.3f}",
            millimetres(speed.depth_sigma_m(0.1)),
            method_words(speed.method),
        )
        for area_id, speed in result.wave_speeds.items()
    ]
    heads = (
        tr("Area"),
        tr("#Speed m/ns"),
        tr("#Relative permittivity"),
        tr("#Time zero ns"),
        tr("#Depth sigma at 0.10 m, mm"),
        tr("Method"),
    )
    return _section(tr("Wave speed and time zero"), table(heads, rows))


def _coverage(result: ChainResult) -> str:
    rows = []
    for piece in result.coverage:
        ground = sum(_ring_area(ring) for ring in piece.rings_m[:1]) - sum(
            _ring_area(ring) for ring in piece.rings_m[1:]
        )
        depth = tr("not known") if piece.depth_m is None else f"{piece.depth_m:.2f}"
        rows.append(
            (
                piece.area_id,
                f"{ground:.2f}",
                depth,
                tr("crossing") if piece.line_directions == 2 else tr("one way only"),
            )
        )
    heads = (tr("Area"), tr("#Ground m²"), tr("#To depth m"), tr("Lines"))
    text = tr(
        "Everything outside, and everything below that depth, is unknown. Where lines run one way only, "
        "objects along them can be missed."
    )
    return _section(tr("What counts as scanned"), table(heads, rows), f"<p>{text}</p>")


def _items(result: ChainResult) -> str:
    rows = []
    for kind in KINDS:
        own = [item for item in result.items if item.kind == kind]
        if own:
            depths = [depth for item in own for depth in item.vertices_m[:, 2]]
            rows.append(
                (
                    kind_name(kind),
                    len(own),
                    tr("{least:.0f} to {most:.0f}", least=1000 * min(depths), most=1000 * max(depths)),
                    millimetres(max(item.sigma_xy_m for item in own)),
                    millimetres(max(item.sigma_depth_m for item in own)),
                    f"{min(item.confidence for item in own):.2f}",
                )
            )
    heads = (
        tr("Kind"),
        tr("#Number"),
        tr("#Depth to top mm"),
        tr("#Largest lateral sigma mm"),
        tr("#Largest depth sigma mm"),
        tr("#Lowest confidence"),
    )
    text = ""
    unplaced = sum(not result.fits[item.area_ids[0]].is_fitted for item in result.items)
    if unplaced:
        text = tr(
            "{unplaced} of them lie in areas without position: they are listed, but not on the plan.",
            unplaced=unplaced,
        )
    nothing = tr("No item was found. That does not mean that there is none.")
    parts = [table(heads, rows) if rows else f"<p>{nothing}</p>"] + ([f"<p>{text}</p>"] if text else [])
    return _section(tr("Items"), *parts)


def _section(title: str, *parts: str) -> str:
    return "\n".join([f"<h2>{title}</h2>", *parts])


def _ring_area(ring) -> float:
    x, y = ring.T
    return abs(float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum())) / 2
