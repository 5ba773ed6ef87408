"""Panels of a section as pictures: one pixel a trace or cell and sample, in shades that QGIS and a print show alike."""

from dataclasses import dataclass, field

import numpy as np
from qgis.PyQt.QtCore import QRectF
from qgis.PyQt.QtGui import QColor, QImage, qRgba

from ....processing.views.radargrams import BEFORE_NS, Panel
from ....processing.views.section import Section
from ...styles import slices

UNKNOWN = 255  # number of the colour that lets the hatching below show through
SHADES = 255


@dataclass(frozen=True)
class SectionImage:
    """A picture and where it lies: `extent` in distance (m) and depth (m) or time (ns); `shown` is the part worth looking at."""

    image: QImage = field(repr=False)
    extent: QRectF
    shown: QRectF
    in_depth: bool


def image_of(section: Section, panel: Panel) -> SectionImage:
    """The picture of one of a section's panels."""
    columns = _even(panel.distance_m)
    values = panel.values[np.argsort(panel.distance_m, kind="stable")][columns.source]
    numbers = _strengths(values) if section.picture is None else _echoes(values, panel)
    numbers = np.ascontiguousarray(numbers.T)
    image = QImage(numbers.data, numbers.shape[1], numbers.shape[0], numbers.shape[1], QImage.Format.Format_Indexed8)
    image.setColorTable(_slice_colours() if section.picture is None else _greys())
    # Converting copies, so that the image outlives the array, and draws fastest.
    image = image.convertToFormat(QImage.Format.Format_ARGB32_Premultiplied)
    step = float(panel.vertical[1] - panel.vertical[0]) if len(panel.vertical) > 1 else 0.01
    top, bottom = float(panel.vertical[0]) - step / 2, float(panel.vertical[-1]) + step / 2
    extent = QRectF(columns.left, top, columns.width, bottom - top)
    if panel.in_depth:
        shown = QRectF(columns.left, 0.0, columns.width, bottom)
    else:
        last = min(float(section.picture.time_of_depth(section.picture.deepest_m)), bottom)
        shown = QRectF(columns.left, -BEFORE_NS, columns.width, last + BEFORE_NS)
    return SectionImage(image, extent, shown, panel.in_depth)


@dataclass(frozen=True)
class _Columns:
    """Evenly spaced columns of a picture: which trace each shows, where the first begins, how wide all are (m)."""

    source: np.ndarray
    left: float
    width: float


def _even(distance_m: np.ndarray) -> _Columns:
    """Traces may lie unevenly (positions from their headers); each column shows the nearest one."""
    distance = np.sort(np.asarray(distance_m, float))
    if len(distance) < 2 or distance[-1] - distance[0] < 1e-6:
        return _Columns(np.zeros(1, int), float(distance[0]) - 0.01, 0.02)
    steps = np.diff(distance)
    step = max(float(np.median(steps[steps > 1e-9])), (distance[-1] - distance[0]) / 8000)
    count = round((distance[-1] - distance[0]) / step) + 1
    step = (distance[-1] - distance[0]) / (count - 1)
    places = distance[0] + step * np.arange(count)
    after = np.clip(np.searchsorted(distance, places), 1, len(distance) - 1)
    nearest = np.where(places - distance[after - 1] <= distance[after] - places, after - 1, after)
    return _Columns(nearest, float(distance[0] - step / 2), float(count * step))


def _echoes(values: np.ndarray, panel: Panel) -> np.ndarray:
    """Amplitudes as shades of grey, nought in the middle."""
    middle = 0.0 if panel.in_depth else float(np.median(values))
    shade = (values - middle) / panel.limit * 0.5 + 0.5
    return np.clip(shade * (SHADES - 1), 0, SHADES - 1).astype(np.uint8)


def _strengths(values: np.ndarray) -> np.ndarray:
    """Echo strengths (dB) on the ramp of the slices; what was not scanned is `UNKNOWN`."""
    part = (values - slices.WEAKEST_DB) / (slices.STRONGEST_DB - slices.WEAKEST_DB)
    shade = np.clip(np.nan_to_num(part) * (SHADES - 1), 0, SHADES - 1).astype(np.uint8)
    shade[np.isnan(values)] = UNKNOWN
    return shade


def _greys():
    return [*(qRgba(grey, grey, grey, 255) for grey in range(SHADES)), 0]


def _slice_colours():
    """The ramp of the slices over white, fading out at the weak end as on the map."""
    stops = np.array([QColor(name).getRgb()[:3] for name in slices.VIRIDIS_REVERSED], float)
    part = np.linspace(0.0, 1.0, SHADES)
    ramp = np.stack([np.interp(part, np.linspace(0, 1, len(stops)), stops[:, i]) for i in range(3)], axis=1)
    cover = np.minimum(1.0, 4.0 * part)[:, None]
    colours = np.round(cover * ramp + (1 - cover) * 255).astype(int)
    return [*(qRgba(*colour.tolist(), 255) for colour in colours), 0]
