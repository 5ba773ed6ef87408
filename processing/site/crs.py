"""The coordinate system of a site grid: on its own, or tied to a national grid.

On its own: a plain local Transverse Mercator whose name says what it is. Without a CRS, QGIS takes the metres for degrees, and
GDAL 3.6 stores a GeoPackage layer as geographic. An engineering CRS would be the honest kind, but QGIS then warns at every
redraw that no transformation is available.

Tied: a derived projected CRS (WKT2, ISO 19162) with an affine parametric transformation (EPSG method 9624) of the national grid,
so that QGIS reprojects the site over any map by itself. Tying means re-stamping; coordinates never change.
"""

import re
from dataclasses import dataclass
from typing import Tuple

import numpy as np

from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.packages import import_pyproj

_METRE = 'LENGTHUNIT["metre",1]'
LARGEST_ERROR_M = 1e-5  # of the finished CRS against the four numbers it was made of


@dataclass(frozen=True)
class GridTie:
    """How a site grid lies in a national one: E = east + k (x cos t - y sin t), N = north + k (x sin t + y cos t).

    `east_m`, `north_m` (metres, whatever the axis order of the national CRS) is where site 0, 0 lies, `rotation_rad` (t) the
    direction of site x, anticlockwise from grid east, `scale` (k) a length on the national grid over that on site.
    """

    east_m: float
    north_m: float
    rotation_rad: float
    scale: float = 1.0

    @classmethod
    def from_degrees(cls, east_m: float, north_m: float, rotation_deg: float, scale: float = 1.0) -> "GridTie":
        """With the direction of site x in degrees."""
        return cls(east_m, north_m, float(np.radians(rotation_deg)), scale)

    def to_base(self, site_m) -> np.ndarray:
        """Easting and northing of site coordinates, metres, shape (n, 2)."""
        x, y = np.asarray(site_m, float).T
        cos, sin = self.scale * np.cos(self.rotation_rad), self.scale * np.sin(self.rotation_rad)
        return np.column_stack([self.east_m + cos * x - sin * y, self.north_m + sin * x + cos * y])


def local_crs_wkt(name: str = "Site grid") -> str:
    """WKT2 of the site grid called `name`: metres, x (east) before y (north), valid in QGIS and GDAL, tied to nothing."""
    degree = 'ANGLEUNIT["degree",0.0174532925199433]'
    return (
        f'PROJCRS["{_plain(name)} (local, not tied)",BASEGEOGCRS["Unknown (not tied)",DATUM["Unknown (not tied)",'
        f'ELLIPSOID["GRS 1980",6378137,298.257222101,{_METRE}]],PRIMEM["Greenwich",0,{degree}]],'
        'CONVERSION["local",METHOD["Transverse Mercator",ID["EPSG",9807]],'
        f'PARAMETER["Latitude of natural origin",0,{degree},ID["EPSG",8801]],'
        f'PARAMETER["Longitude of natural origin",0,{degree},ID["EPSG",8802]],'
        'PARAMETER["Scale factor at natural origin",1,SCALEUNIT["unity",1],ID["EPSG",8805]],'
        f'PARAMETER["False easting",0,{_METRE},ID["EPSG",8806]],PARAMETER["False northing",0,{_METRE},ID["EPSG",8807]]],'
        f"CS[Cartesian,2],{_AXES}]"
    )


def tied_crs_wkt(name: str, base: str, tie: GridTie) -> str:
    """WKT2 of the site grid called `name`, tied to the projected CRS `base` (``EPSG:25832``, WKT, ...).

    Raises `ProcessingError` where `base` is no projected CRS in metres, or where the result does not transform as `tie` says: it
    is tried before it is handed out.
    """
    cos, sin = np.cos(tie.rotation_rad) / tie.scale, np.sin(tie.rotation_rad) / tie.scale
    a0, b0 = -(cos * tie.east_m + sin * tie.north_m), sin * tie.east_m - cos * tie.north_m
    one = 'SCALEUNIT["coefficient",1]'
    numbers = (
        ("A0", a0, _METRE, 8623),
        ("A1", cos, one, 8624),
        ("A2", sin, one, 8625),
        ("B0", b0, _METRE, 8639),
        ("B1", -sin, one, 8640),
        ("B2", cos, one, 8641),
    )
    parameters = ",".join(
        f'PARAMETER["{key}",{value:.15g},{unit},ID["EPSG",{code}]]' for key, value, unit, code in numbers
    )
    wkt = (
        f'DERIVEDPROJCRS["{_plain(name)}",{_base_wkt(base)},DERIVINGCONVERSION["{_plain(name)}",'
        f'METHOD["Affine parametric transformation",ID["EPSG",9624]],{parameters}],CS[Cartesian,2],{_AXES}]'
    )
    places = np.array([(0.0, 0.0), (100.0, 0.0), (0.0, 100.0)])
    found = to_base(wkt, base, places)
    error = np.abs(found - tie.to_base(places)).max()
    if not error < LARGEST_ERROR_M:
        raise ProcessingError(
            tr(
                "The site grid cannot be tied to {base_name}: this installation's PROJ puts it {error:g} m off; "
                "choose another projected coordinate system.",
                base_name=base_name(base),
                error=error,
            )
        )
    return wkt


def to_base(wkt: str, base: str, site_m) -> np.ndarray:
    """Site coordinates through the finished CRS into `base`: easting, northing, metres, shape (n, 2)."""
    pyproj = import_pyproj()
    transformer = pyproj.Transformer.from_crs(pyproj.CRS.from_wkt(wkt), _base_crs(base), always_xy=True)
    return np.column_stack(transformer.transform(*np.asarray(site_m, float).T))


def is_tied(wkt: str) -> bool:
    """Is this the WKT of a site grid that was tied to a national grid?"""
    return wkt.startswith("DERIVEDPROJCRS[")


def to_national(wkt: str, site_m) -> Tuple[np.ndarray, str]:
    """Site coordinates in the national grid that the site grid with this `wkt` is tied to, and that grid's name.

    Returns easting, northing, metres, shape (n, 2). Raises `ProcessingError` where the site grid is not tied.
    """
    if not is_tied(wkt):
        raise ProcessingError(
            tr(
                "The site grid is not tied to a national grid; run 'Define the site grid' first, or choose the site grid."
            )
        )
    pyproj = import_pyproj()
    site = pyproj.CRS.from_wkt(wkt)
    transformer = pyproj.Transformer.from_crs(site, site.source_crs, always_xy=True)
    places = np.column_stack(transformer.transform(*np.asarray(site_m, float).reshape(-1, 2).T))
    return places, site.source_crs.name.replace(_BASE_PREFIX, "")


def base_name(base: str) -> str:
    """Name of a projected CRS, with its code where it has one. Raises as `tied_crs_wkt`."""
    crs = _base_crs(base)
    code = crs.to_authority()
    return f"{crs.name} ({':'.join(code)})" if code else crs.name


def point_scale(base: str, east_m: float, north_m: float) -> float:
    """Scale of the projection `base` at one place: a length on the map over that on the ellipsoid."""
    pyproj = import_pyproj()
    crs = _base_crs(base)
    geographic = pyproj.Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True).transform(east_m, north_m)
    factors = pyproj.Proj(crs).get_factors(*geographic)
    return float(np.sqrt(factors.areal_scale))


_BASE_PREFIX = "Base of site grid (E,N,m): "
_AXES = f'AXIS["site x (X)",east,ORDER[1],{_METRE}],AXIS["site y (Y)",north,ORDER[2],{_METRE}]'


def _plain(name: str) -> str:
    return name.replace('"', "'")


def _base_crs(base: str):
    pyproj = import_pyproj()
    try:
        crs = pyproj.CRS.from_user_input(base)
    except pyproj.exceptions.CRSError as error:
        raise ProcessingError(
            tr("'{base}' is not a coordinate system known to PROJ; enter for example EPSG:25832.", base=base)
        ) from error
    if not crs.to_wkt("WKT2_2019").startswith("PROJCRS["):
        raise ProcessingError(
            tr(
                "'{name}' is not a projected coordinate system; choose the national or state grid of the site, "
                "without heights.",
                name=crs.name,
            )
        )
    # In feet, PROJ versions disagree on what a derived CRS means.
    if any(axis.unit_conversion_factor != 1.0 for axis in crs.axis_info):
        raise ProcessingError(tr("'{name}' is not in metres; choose the same grid in metres.", name=crs.name))
    return crs


def _base_wkt(base: str) -> str:
    wkt = _base_crs(base).to_wkt("WKT2_2019")
    head = wkt[len("PROJCRS[") : wkt.index("CS[Cartesian")].rstrip().rstrip(",")
    # The plain datum for an ensemble: short enough for PostGIS (2048 characters), and the same text under every PROJ version.
    found = re.search(
        r'ENSEMBLE\["([^"]+?)( ensemble)?",.*?(ELLIPSOID\[.*?LENGTHUNIT\[[^\]]*\]\]),ENSEMBLEACCURACY\[[^\]]*\]'
        r"(,ID\[[^\]]*\])?\]",
        head,
    )
    if found:
        head = head.replace(found.group(0), f'DATUM["{found.group(1)}",{found.group(3)}]')
    # Under a name that PROJ knows, newer versions take axis order and unit from their database, older ones do not. Under a new name
    # all read easting, northing, metre.
    return f'BASEPROJCRS["{_BASE_PREFIX}{head[1:]}]'
