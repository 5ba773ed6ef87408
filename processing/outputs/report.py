"""The report of a run: one HTML file that stands alone, prints in grey, and carries the cautions.

No scripts, no pictures, nothing from elsewhere; every text that came from a file is escaped.
"""

from html import escape

from ..items.model import KINDS
from .layers import software_version
from .mats import find_all_mats, mat_section
from .report_fit import fit_sections
from .report_page import cautions_box, millimetres, page, table
from .result import ChainResult


def report_html(result: ChainResult) -> str:
    """The whole report as text; parts of steps that did not run are left out. The same result gives the same text."""
    name = result.survey.folder.name
    parts = [
        f"<h1>Survey {escape(name)}</h1>",
        f'<p class="source">Survey folder: {escape(str(result.survey.folder))}<br>Inslab {escape(software_version())}</p>',
        cautions_box(),
        _areas(result),
        _findings(result),
        *fit_sections(result),
    ]
    if result.wave_speeds:
        parts.append(_wave_speeds(result))
    if result.items or result.coverage:
        parts += [_coverage(result), _items(result), mat_section(find_all_mats(result))]
    return page(f"Survey {name}", parts)


def _areas(result: ChainResult) -> str:
    rows = []
    for area in result.survey.areas:
        fit = result.fits[area.area_id]
        rows.append(
            (
                area.area_id,
                area.level,
                area.surface,
                len(area.lines),
                f"{sum(line.length_m for line in area.lines):.1f}",
                fit.status,
                millimetres(fit.rms_residual_m if fit.is_fitted else None),
                millimetres(fit.sigma_xy_m),
                area.scanned_on,
                result.failures.get(area.area_id, ""),
            )
        )
    heads = (
        "Area",
        "Level",
        "Surface",
        "#Lines",
        "#Length m",
        "Position",
        "#RMS residual mm",
        "#Sigma mm",
        "Scanned",
        "Not done",
    )
    text = (
        "Sigma is the 1-sigma uncertainty of the area's place on the site grid where it is known best (the middle of its control "
        "points); it grows outwards. Surfaces: 'soffit' is seen from below, 'wall' has the coordinates of its elevation."
    )
    return f"<h2>Scan areas</h2>\n{table(heads, rows)}\n<p>{text}</p>"


def _findings(result: ChainResult) -> str:
    if not result.findings:
        return "<h2>Findings</h2>\n<p>Nothing was left out, and nothing needs a look.</p>"
    lines = [
        f'<li class="{escape(found.severity)}">{escape(found.severity)}: {escape(found.where)}: {escape(found.text)}</li>'
        for found in result.findings
    ]
    text = "An error means that the thing was left out, a warning that it was used and needs a look."
    return f"<h2>Findings</h2>\n<p>{text}</p>\n<ul>\n" + "\n".join(lines) + "\n</ul>"


def _wave_speeds(result: ChainResult) -> str:
    rows = [
        (
            area_id,
            f"{speed.speed_m_ns:.4f} ± {speed.sigma_m_ns:.4f}",
            f"{speed.relative_permittivity:.2f}",
            f"{speed.time_zero_ns:.3f} ± {speed.sigma_time_zero_ns:.3f}",
            millimetres(speed.depth_sigma_m(0.1)),
            speed.method,
        )
        for area_id, speed in result.wave_speeds.items()
    ]
    heads = ("Area", "#Speed m/ns", "#Relative permittivity", "#Time zero ns", "#Depth sigma at 0.10 m, mm", "Method")
    return f"<h2>Wave speed and time zero</h2>\n{table(heads, rows)}"


def _coverage(result: ChainResult) -> str:
    rows = []
    for piece in result.coverage:
        ground = sum(_ring_area(ring) for ring in piece.rings_m[:1]) - sum(
            _ring_area(ring) for ring in piece.rings_m[1:]
        )
        depth = "not known" if piece.depth_m is None else f"{piece.depth_m:.2f}"
        rows.append(
            (piece.area_id, f"{ground:.2f}", depth, "crossing" if piece.line_directions == 2 else "one way only")
        )
    heads = ("Area", "#Ground m²", "#To depth m", "Lines")
    text = (
        "Everything outside, and everything below that depth, is unknown. Where lines run one way only, objects along them can "
        "be missed."
    )
    return f"<h2>What counts as scanned</h2>\n{table(heads, rows)}\n<p>{text}</p>"


def _items(result: ChainResult) -> str:
    rows = []
    for kind in KINDS:
        own = [item for item in result.items if item.kind == kind]
        if own:
            depths = [depth for item in own for depth in item.vertices_m[:, 2]]
            rows.append(
                (
                    kind.replace("_", " "),
                    len(own),
                    f"{1000 * min(depths):.0f} to {1000 * max(depths):.0f}",
                    millimetres(max(item.sigma_xy_m for item in own)),
                    millimetres(max(item.sigma_depth_m for item in own)),
                    f"{min(item.confidence for item in own):.2f}",
                )
            )
    heads = (
        "Kind",
        "#Number",
        "#Depth to top mm",
        "#Largest lateral sigma mm",
        "#Largest depth sigma mm",
        "#Lowest confidence",
    )
    text = ""
    unplaced = sum(not result.fits[item.area_ids[0]].is_fitted for item in result.items)
    if unplaced:
        text = f"\n<p>{unplaced} of them lie in areas without position: they are listed, but not on the plan.</p>"
    listed = table(heads, rows) if rows else "<p>No item was found. That does not mean that there is none.</p>"
    return f"<h2>Items</h2>\n{listed}{text}"


def _ring_area(ring) -> float:
    x, y = ring.T
    return abs(float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum())) / 2
