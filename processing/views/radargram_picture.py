"""Radargrams drawn as PNG, in shades of grey with black-and-white marks, so that a print without colour loses nothing."""

from pathlib import Path

import numpy as np

from ..common import cautions
from ..common.language import tr
from ..common.packages import import_matplotlib
from ..geometry.two_leg import depth_of_plane_path
from .radargrams import BEFORE_NS, LinePicture, Panel

DOTS_PER_INCH = 130
HEIGHT_IN, MARGIN_IN, INCHES_PER_METRE = 6.2, 1.5, 5.0
WIDEST_PANEL_IN, NARROWEST_PANEL_IN = 12.0, 3.2
# The value 0 is mid-grey; strong echoes go to black and white.
SHADES = "gray"


def draw(picture: LinePicture, path: Path) -> None:
    """Draws one line's panels side by side into a PNG file."""
    Figure, FigureCanvasAgg = import_matplotlib()
    panel_in = float(np.clip(INCHES_PER_METRE * picture.line.length_m, NARROWEST_PANEL_IN, WIDEST_PANEL_IN))
    figure = Figure(
        figsize=((panel_in + MARGIN_IN) * len(picture.panels), HEIGHT_IN), dpi=DOTS_PER_INCH, layout="constrained"
    )
    canvas = FigureCanvasAgg(figure)
    axes = figure.subplots(1, len(picture.panels), squeeze=False)[0]
    for ax, panel in zip(axes, picture.panels):
        _draw_panel(ax, picture, panel)
    figure.suptitle(picture.title, fontsize=11, fontweight="bold", parse_math=False)
    figure.supxlabel(_foot(picture), fontsize=7, x=0.01, ha="left")
    # No version of the drawing library in the file: same input, same output.
    canvas.print_png(str(path), metadata={"Software": None})


def _foot(picture: LinePicture) -> str:
    speed = tr(
        "Wave speed {speed_m_ns:.4f} ± {sigma_m_ns:.4f} m/ns (1 sigma)",
        speed_m_ns=picture.speed_m_ns,
        sigma_m_ns=picture.sigma_m_ns,
    )
    marks = (
        tr("Filled mark: seen on this line; open mark: an item known from other lines. ") if picture.crossings else ""
    )
    depth = tr("depths are for what lies directly below.")
    return f"{speed}; {depth} {marks}\n{cautions.DETECTION}"


def _draw_panel(ax, picture: LinePicture, panel: Panel) -> None:
    ax.set_facecolor("0.85")  # where there are no data
    half = 0.5 * float(np.ptp(panel.distance_m[:2])) or 0.01  # a line of a single trace
    edges = _edges(panel.distance_m, half)
    ax.pcolormesh(
        edges,
        _edges(panel.vertical, 0.5 * (panel.vertical[1] - panel.vertical[0])),
        panel.values.T - (np.median(panel.values) if not panel.in_depth else 0.0),
        cmap=SHADES,
        vmin=-panel.limit,
        vmax=panel.limit,
        rasterized=True,
    )
    last = float(picture.time_of_depth(picture.deepest_m))
    bottom = picture.deepest_m if panel.in_depth else min(last, float(panel.vertical[-1]))
    ax.set_ylim(bottom, 0.0 if panel.in_depth else -BEFORE_NS)
    ax.set_xlim(edges[0], edges[-1])
    ax.set_title(panel.title, fontsize=9)
    ax.set_xlabel(tr("distance along the line (m)"), fontsize=8)
    ax.set_ylabel(tr("depth (m)") if panel.in_depth else tr("time after time zero (ns)"), fontsize=8)
    _other_scale(ax, picture, panel)
    for crossing in picture.crossings:
        _draw_crossing(ax, picture, panel, crossing)
    ax.tick_params(labelsize=8)


def _edges(centres: np.ndarray, half: float) -> np.ndarray:
    """Edges of the cells around increasing or decreasing centres."""
    return np.concatenate([[centres[0] - half], 0.5 * (centres[1:] + centres[:-1]), [centres[-1] + half]])


def _other_scale(ax, picture: LinePicture, panel: Panel) -> None:
    """On the right: depths beside times, or times beside depths."""
    other = ax.twinx()
    other.set_ylim(ax.get_ylim())
    bottom = ax.get_ylim()[0]
    if panel.in_depth:
        times = np.arange(1.0, float(picture.time_of_depth(bottom)) + 1e-9, 1.0)
        places = depth_of_plane_path(picture.speed_m_ns * times, picture.separation_m)
        labels = [f"{time:.0f}" for time in times]
        other.set_ylabel(tr("time after time zero (ns)"), fontsize=8)
    else:
        step = 0.05 if picture.deepest_m < 0.45 else 0.1
        depths = np.arange(0.0, picture.deepest_m + 1e-9, step)
        places = picture.time_of_depth(depths)
        labels = [f"{depth:.2f}" for depth in depths]
        other.set_ylabel(tr("depth (m)"), fontsize=8)
    shown = places <= bottom
    other.set_yticks(places[shown], [label for label, good in zip(labels, shown) if good])
    other.tick_params(labelsize=8)


def _draw_crossing(ax, picture: LinePicture, panel: Panel, crossing) -> None:
    """A mark at the item's top and, against time, the course its echo is expected to take."""
    if panel.in_depth:
        at = crossing.depth_m
    else:
        distance, time = picture.course(crossing)
        ax.plot(distance, time, color="white", linewidth=1.6, alpha=0.7)
        ax.plot(distance, time, color="black", linewidth=0.7, linestyle=(0, (4, 3)))
        at = float(time[len(time) // 2])
    face = "black" if crossing.picked else "white"
    ax.plot(
        crossing.distance_m,
        at,
        marker="v",
        markersize=6,
        markerfacecolor=face,
        markeredgecolor="white",
        linestyle="none",
    )
    if not crossing.picked:
        ax.plot(
            crossing.distance_m, at, marker="v", markersize=4, markerfacecolor="white", markeredgecolor="black",
            linestyle="none",
        )  # fmt: skip
    ax.annotate(
        crossing.label,
        (crossing.distance_m, at),
        xytext=(0, -9),
        textcoords="offset points",
        rotation=90,
        ha="center",
        va="top",
        fontsize=6.5,
        parse_math=False,
        bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": "none", "alpha": 0.75},
    )
