"""How depth slices and slab thickness are drawn.

The ramp is viridis, perceptually uniform and legible with deficient colour vision and in grey (S. van der Walt, N. Smith,
"A better default colormap", SciPy 2015; released under CC0). It is turned round, so that the strongest echo is darkest, as
on a print.
"""

from typing import List, Tuple

from osgeo import gdal
from qgis.core import (
    Qgis,
    QgsColorRampShader,
    QgsDoubleRange,
    QgsPalettedRasterRenderer,
    QgsRasterShader,
    QgsSingleBandPseudoColorRenderer,
)
from qgis.PyQt.QtGui import QColor

from ...processing.common.language import tr

# Every ninth of viridis, from strong to weak.
VIRIDIS_REVERSED = (
    "#fde725",
    "#b5de2b",
    "#6ece58",
    "#35b779",
    "#1f9e89",
    "#26828e",
    "#31688e",
    "#3e4989",
    "#482878",
    "#440154",
)
# Echo strength is in dB over the local noise: below the first nothing is drawn, above the second nothing changes.
# Okabe and Ito's palette for every kind of colour vision (2008).
AREA_COLOURS = ("#e69f00", "#56b4e9", "#009e73", "#f0e442", "#0072b2", "#d55e00", "#cc79a7", "#999999")
WEAKEST_DB, STRONGEST_DB = 3.0, 15.0


def band_ranges_m(layer) -> List[Tuple[float, float]]:
    """Shallow and deep limit of each band, metres, from names as 'Band 5: 0.040-0.050 m'."""
    names = [layer.bandName(band + 1).split(": ")[1].split(" ")[0].split("-") for band in range(layer.bandCount())]
    return [(float(top), float(base)) for top, base in names]


def show_band(layer, band: int) -> None:
    """Draw one depth of a layer that `style_slices` has styled; its name on screen says which."""
    renderer = layer.renderer()
    getattr(renderer, "setInputBand", renderer.setBand)(band)  # before QGIS 3.38 there is only the second
    top, base = band_ranges_m(layer)[band - 1]
    layer.setName(tr("Depth slice {top}-{base} mm", top=round(1000 * top), base=round(1000 * base)))
    layer.triggerRepaint()


def show_depth(layer, depth_m: float) -> None:
    """Draw the band that holds a depth, the last one where it has none so deep."""
    ranges = band_ranges_m(layer)
    show_band(layer, next((band for band, (_top, base) in enumerate(ranges, 1) if depth_m < base), len(ranges)))


def shown_band(layer) -> int:
    """The band that is drawn."""
    return layer.renderer().usesBands()[0]


def shown_depth_m(layer) -> float:
    """The middle of the depths that are drawn."""
    return sum(band_ranges_m(layer)[shown_band(layer) - 1]) / 2


def style_slices(layer) -> None:
    """One depth of many, at first the shallowest: echo strength in dB over the noise, nothing where it drowns in the noise."""
    stops = []
    for number, colour in enumerate(VIRIDIS_REVERSED):
        fraction = number / (len(VIRIDIS_REVERSED) - 1)
        value = WEAKEST_DB + fraction * (STRONGEST_DB - WEAKEST_DB)
        shade = QColor(colour)
        shade.setAlphaF(min(1.0, 4.0 * fraction))  # weak echoes fade out instead of ending at a hard rim
        stops.append(QgsColorRampShader.ColorRampItem(value, shade, f"{value:.0f} dB"))
    _set_ramp(layer, 1, stops, WEAKEST_DB, STRONGEST_DB)
    _tell_heights(layer)


def _tell_heights(layer) -> None:
    """Each band's height, so that QGIS's own elevation control steps through the depths, too (it has one since 3.38)."""
    if Qgis.QGIS_VERSION_INT < 33800:
        return
    properties = layer.elevationProperties()
    properties.setEnabled(True)
    properties.setMode(Qgis.RasterElevationMode.FixedRangePerBand)
    heights = {number: QgsDoubleRange(-base, -top) for number, (top, base) in enumerate(band_ranges_m(layer), 1)}
    properties.setFixedRangePerBand(heights)


def style_thickness(layer, lowest_m: float, highest_m: float) -> None:
    """Slab thickness over the range that occurs, metres."""
    stops = []
    for number, colour in enumerate(VIRIDIS_REVERSED):
        value = lowest_m + number / (len(VIRIDIS_REVERSED) - 1) * (highest_m - lowest_m)
        stops.append(QgsColorRampShader.ColorRampItem(value, QColor(colour), f"{1000 * value:.0f} mm"))
    _set_ramp(layer, 1, stops, lowest_m, highest_m)
    layer.setOpacity(0.7)


def style_origin(layer) -> None:
    """A colour for each area, named in the legend; neighbours in the list get unlike ones."""
    file = gdal.Open(layer.source())  # must outlive its band
    names = file.GetRasterBand(1).GetMetadata()
    numbers = sorted(int(key.rpartition("_")[2]) for key in names if key.startswith("area_"))
    classes = [
        QgsPalettedRasterRenderer.Class(
            number, QColor(AREA_COLOURS[number % len(AREA_COLOURS)]), names[f"area_{number}"]
        )
        for number in numbers
    ]
    layer.setRenderer(QgsPalettedRasterRenderer(layer.dataProvider(), 1, classes))
    layer.setOpacity(0.5)


def _set_ramp(layer, band, stops, lowest, highest) -> None:
    ramp = QgsColorRampShader(lowest, highest)
    ramp.setColorRampType(QgsColorRampShader.Type.Interpolated)
    ramp.setColorRampItemList(stops)
    shader = QgsRasterShader()
    shader.setRasterShaderFunction(ramp)
    renderer = QgsSingleBandPseudoColorRenderer(layer.dataProvider(), band, shader)
    renderer.setClassificationMin(lowest)
    renderer.setClassificationMax(highest)
    layer.setRenderer(renderer)
