"""Drawings onto the site grid: DXF linework as GeoPackage layers, a picture or PDF page as GeoTIFF.

GDAL reads both. A picture is not resampled: its pixels get a geotransform, turned if need be.
"""

import re
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Dict, List, Optional, Tuple

import numpy as np

from ..common.errors import ProcessingError, SurveyError
from ..common.gdal_failures import without_gdal_exceptions
from ..common.language import tr
from ..common.packages import import_gdal
from ..site.drawing_fit import DrawingFit
from ..site.geotiff import add_overviews, failures_said, move_with_crs
from ..store.geopackage import write_geopackage
from ..store.layer import Layer

PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".pdf")
# $INSUNITS in the DXF reference (Autodesk, group code 70 of the header; quoted from memory): name, metres a unit.
UNITS = {
    1: (tr("inches"), 0.0254),
    2: (tr("feet"), 0.3048),
    4: (tr("millimetres"), 0.001),
    5: (tr("centimetres"), 0.01),
    6: (tr("metres"), 1.0),
    10: (tr("yards"), 0.9144),
    14: (tr("decimetres"), 0.1),
}
SAME_UNIT = 0.03
UTF8_SINCE = "AC1021"  # release 2007; older ones use the code page that the header names
LAYERS = {"Point": "drawing_points", "LineString": "drawing_lines", "Polygon": "drawing_areas"}
FIELDS = {"cad_layer": str, "text": str, "text_height_m": float, "text_angle_deg": float, "entity": str, "handle": str}


@dataclass(frozen=True)
class Unit:
    """What a drawing says of its unit: metres a unit, None where it says nothing."""

    name: str
    metres: Optional[float]


def is_picture(path) -> bool:
    """Is it a picture or PDF (True) or linework (False)? Raises `SurveyError` for anything else."""
    suffix = Path(path).suffix.lower()
    if suffix not in (*PICTURES, ".dxf"):
        raise SurveyError(tr("{name}: a drawing must be DXF, PNG, JPEG, TIFF or PDF.", name=Path(path).name))
    return suffix != ".dxf"


def drawing_unit(path) -> Unit:
    """The unit that a DXF file states in its header."""
    header = _header(path)
    code = int(header.get("$INSUNITS", "0") or 0)
    return Unit(*UNITS[code]) if code in UNITS else Unit(tr("no unit"), None)


def unit_sentences(unit: Unit, fit: DrawingFit) -> Tuple[List[str], List[str]]:
    """What drawing and fit say of the unit, and the doubts where they do not agree."""
    scale = float(np.sqrt(np.prod(fit.scales_m)))
    alike = [name for name, metres in UNITS.values() if abs(scale / metres - 1) < SAME_UNIT]
    found = tr("which matches {alike}", alike=alike[0]) if alike else tr("which matches no common unit")
    said = tr("The drawing says {name}", name=unit.name) if unit.metres else tr("The drawing states no unit")
    sentence = tr(
        "{said}; according to the control points a unit is {scale:.6g} m, {found}.", said=said, scale=scale, found=found
    )
    if unit.metres and abs(scale / unit.metres - 1) >= SAME_UNIT:
        doubt = tr(
            "Unit and control points do not agree: a unit should be {metres:g} m. Check the points.", metres=unit.metres
        )
        return [sentence], [doubt]
    return [sentence], []


def write_linework(path, fit: DrawingFit, output, crs_wkt: str) -> Dict[str, int]:
    """Writes the DXF file `path` as layers of the GeoPackage `output`, one for each kind of geometry; returns their feature
    counts. Blocks are expanded and arcs are drawn as polylines.
    """
    gdal, _, _ = import_gdal()
    rows: Dict[str, List[Tuple[object, Dict]]] = {kind: [] for kind in LAYERS}
    encoding = {"DXF_ENCODING": "UTF-8"} if _header(path).get("$ACADVER", "") >= UTF8_SINCE else {}
    with _options(gdal, encoding), _quiet(gdal):
        dataset = gdal.OpenEx(str(path), gdal.OF_VECTOR, allowed_drivers=["DXF"])
        source = dataset.GetLayer(0) if dataset else None
        if source is None:
            raise SurveyError(
                tr(
                    "{name} is not a readable DXF file ({reason}).",
                    name=Path(path).name,
                    reason=gdal.GetLastErrorMsg() or tr("unknown"),
                )
            )
        for feature in source:
            values = _attributes(feature, fit)
            geometry = feature.GetGeometryRef()
            for kind, coordinates in _simple_parts(geometry, fit) if geometry is not None else []:
                rows[kind].append((coordinates, values))
        source = dataset = None
    layers = [
        Layer(LAYERS[kind], kind, FIELDS, own, tr("Drawing on the site grid; see its report for how well it fits."))
        for kind, own in rows.items()
        if own
    ]
    if not layers:
        raise SurveyError(tr("{name} contains nothing that can be drawn.", name=Path(path).name))
    write_geopackage(output, layers, crs_wkt)
    return {layer.name: len(layer.rows) for layer in layers}


def write_picture(path, fit: DrawingFit, output, crs_wkt: str, page: int = 1, dots_per_inch: float = 200.0) -> None:
    """Writes the picture, or one page of the PDF, `path` as GeoTIFF `output` with the geotransform of `fit`; the pixels stay
    as they are.
    """
    gdal, _, _ = import_gdal()
    output = Path(output)
    part = output.with_name(f".{output.name}.part.tif")
    output.parent.mkdir(parents=True, exist_ok=True)
    is_pdf = Path(path).suffix.lower() == ".pdf"
    name = f"PDF:{page}:{path}" if is_pdf else str(path)
    options = [f"DPI={dots_per_inch:g}"] if is_pdf else []
    try:
        with _quiet(gdal):
            # No other driver: a file of another kind under such a name could lead GDAL to further files and to a network.
            drivers = ["PDF"] if is_pdf else ["PNG", "JPEG", "GTiff"]
            source = gdal.OpenEx(name, gdal.OF_RASTER, allowed_drivers=drivers, open_options=options)
            if source is None:
                what = tr("page {page} of {name}", page=page, name=Path(path).name) if is_pdf else Path(path).name
                raise SurveyError(
                    tr(
                        "{what} cannot be read as a picture ({reason}).",
                        what=what,
                        reason=gdal.GetLastErrorMsg() or tr("unknown format"),
                    )
                )
            layout = ["TILED=YES", "COMPRESS=DEFLATE", "PREDICTOR=2", "BIGTIFF=IF_SAFER"]
            settings = [word for option in layout for word in ("-co", option)] + _with_alpha(gdal, source)
            copy = gdal.Translate(str(part), source, options=settings)
            if copy is None:
                raise ProcessingError(
                    tr(
                        "{output} cannot be written: {reason}.",
                        output=output,
                        reason=gdal.GetLastErrorMsg(),
                    )
                )
            (a, b), (c, d) = fit.matrix
            copy.SetGeoTransform((fit.shift_m[0], a, b, fit.shift_m[1], c, d))
            copy.SetProjection(crs_wkt)
            source = copy = None
        with failures_said(output):
            add_overviews(part, (2, 4, 8))
            move_with_crs(part, output)
    finally:
        for left in output.parent.glob(f"{part.name}*"):
            left.unlink()


def _with_alpha(gdal, source) -> List[str]:
    """Options that give a plain picture an opaque alpha band: QGIS fills the corners beside a turned one with black otherwise."""
    bands = [source.GetRasterBand(number) for number in range(1, source.RasterCount + 1)]
    colours = [gdal.GetColorInterpretationName(band.GetColorInterpretation()).lower() for band in bands]
    if bands[0].DataType != gdal.GDT_Byte or colours not in (["gray"], ["red", "green", "blue"]):
        return []
    chosen = [word for number in range(1, len(bands) + 1) for word in ("-b", str(number))]
    return [*chosen, "-b", "mask", "-colorinterp", ",".join([*colours, "alpha"])]


def _header(path) -> Dict[str, str]:
    """Variables of a DXF header with their first value."""
    with Path(path).open("rb") as file:
        start = file.read(2**18).decode("latin-1")
    if start.startswith("AutoCAD Binary DXF"):
        raise SurveyError(tr("{name} is a binary DXF file; save it as text (ASCII DXF).", name=Path(path).name))
    text = start.split("ENDSEC", 1)[0]
    return dict(re.findall(r"^[ \t]*9[ \t]*\r?\n(\$\w+)[ \t]*\r?\n[ \t]*\d+[ \t]*\r?\n[ \t]*(\S*)", text, re.MULTILINE))


def _attributes(feature, fit: DrawingFit) -> Dict:
    values = {"cad_layer": feature["Layer"], "text": feature["Text"], "handle": feature["EntityHandle"]}
    values["entity"] = (feature["SubClasses"] or "").rpartition(":")[2].removeprefix("AcDb") or None
    style = feature.GetStyleString() or ""
    if style.startswith("LABEL"):
        height, angle = (re.search(rf"\b{key}:([-\d.eE+]+)", style) for key in "sa")
        scale = float(np.sqrt(np.prod(fit.scales_m)))
        values["text_height_m"] = float(height.group(1)) * scale if height else None
        values["text_angle_deg"] = (float(angle.group(1)) if angle else 0.0) + fit.rotation_deg
    return values


def _simple_parts(geometry, fit: DrawingFit) -> List[Tuple[str, object]]:
    """Kind and site coordinates of each simple part of a geometry."""
    name = geometry.GetGeometryName()
    if geometry.IsEmpty():
        return []
    if name == "POINT":
        return [("Point", fit.to_site([geometry.GetPoint_2D()])[0])]
    if name == "LINESTRING":
        return [("LineString", fit.to_site([point[:2] for point in geometry.GetPoints()]))]
    if name == "POLYGON":
        rings = [geometry.GetGeometryRef(i) for i in range(geometry.GetGeometryCount())]
        return [("Polygon", [fit.to_site([point[:2] for point in ring.GetPoints()]) for ring in rings])]
    if geometry.GetGeometryCount():
        parts = [geometry.GetGeometryRef(i) for i in range(geometry.GetGeometryCount())]
        return [found for part in parts for found in _simple_parts(part, fit)]
    return _simple_parts(geometry.GetLinearGeometry(), fit) if geometry.HasCurveGeometry() else []


@contextmanager
def _options(gdal, values: Dict[str, str]):
    """GDAL settings for the block alone, in this thread alone where GDAL can."""
    setter = getattr(gdal, "SetThreadLocalConfigOption", gdal.SetConfigOption)
    earlier = {key: gdal.GetConfigOption(key) for key in values}
    for key, value in values.items():
        setter(key, value)
    try:
        yield
    finally:
        for key, value in earlier.items():
            setter(key, value)


@contextmanager
def _quiet(gdal):
    """No messages of GDAL on the console; where another plugin asked for exceptions, they become one sentence."""
    gdal.ErrorReset()
    gdal.PushErrorHandler("CPLQuietErrorHandler")
    try:
        with without_gdal_exceptions():
            yield
    except RuntimeError as error:
        raise SurveyError(tr("The drawing cannot be read or written: {error}.", error=error)) from error
    finally:
        gdal.PopErrorHandler()
