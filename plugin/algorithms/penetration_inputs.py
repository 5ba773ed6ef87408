"""Parameters and inputs that the algorithms about penetrations share."""

import math
import re
from pathlib import Path
from typing import Optional

from qgis.core import (
    QgsGeometry,
    QgsProcessing,
    QgsProcessingParameterDefinition,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterMatrix,
    QgsProcessingParameterString,
    QgsProviderRegistry,
    QgsWkbTypes,
)
from qgis.PyQt.QtCore import NULL

from ...processing.common.errors import InslabError, ProcessingError
from ...processing.common.language import tr
from ...processing.common.vocabulary.kinds import KINDS
from ...processing.common.vocabulary.surfaces import SURFACES, TOP
from ...processing.geometry.polygons import edges_of
from ...processing.penetrations.model import DEFAULT_RULES, Confidence, KindRule, Penetrations, check_rules
from .base import positive_number

PENETRATIONS, SURFACE, LEVEL, KEEP_OUT = "PENETRATIONS", "SURFACE", "LEVEL", "KEEP_OUT"
OBJECT_DIAMETERS, TOLERANCE, CONFIDENCE = "OBJECT_DIAMETERS", "TOLERANCE", "CONFIDENCE"
TOUCH_LIMIT, DEPTH_TOLERANCE = "TOUCH_LIMIT", "DEPTH_TOLERANCE"
REQUIRED = ("penetration_id", "diameter_m", "depth_m")
NUMBERS = ("x_m", "y_m", "diameter_m", "depth_m", "tolerance_m", "azimuth_deg", "tilt_deg")

HELP = {
    PENETRATIONS: (
        tr(
            "Points on the site grid, or a table with x_m and y_m, with the columns penetration_id, diameter_m and "
            "depth_m; tolerance_m (1-sigma of setting out), azimuth_deg (clockwise from the site's y axis) and "
            "tilt_deg (from the perpendicular), level and surface are optional. For an inclined hole depth_m is the "
            "length along it."
        )
    ),
    SURFACE: tr(
        "The scanned surface: items and scans of other surfaces do not count. Penetrations are drilled or cut from "
        "it. A column surface overrides it."
    ),
    LEVEL: tr(
        "The level; may be left empty where the survey has only one on this surface. A column level overrides it."
    ),
    KEEP_OUT: (
        tr(
            "Distance to keep between the drilled cylinder and an item's surface, metres: one number, or one for "
            "each kind. To be set by the responsible engineer."
        )
    ),
    OBJECT_DIAMETERS: (
        tr(
            "Sizes are not measured: smallest and largest diameter that an object of each kind may have, metres. "
            "Distances count to the largest one. To be set by the responsible engineer."
        )
    ),
    TOLERANCE: tr(
        "1-sigma of setting out in each direction of the plan, metres, where there is no column tolerance_m."
    ),
    CONFIDENCE: tr("Probability with which the keep-out distance to each item must be satisfied for 'clear'."),
    TOUCH_LIMIT: tr("Largest probability of touching any known item with which a penetration is still 'clear'."),
    DEPTH_TOLERANCE: tr("1-sigma of the drilled depth, metres."),
}


def help_for(*names) -> dict:
    """Help texts of the shared parameters with these names."""
    return {name: HELP[name] for name in names}


def penetrations_parameter(optional=False):
    """Points or a table."""
    return QgsProcessingParameterFeatureSource(
        PENETRATIONS, tr("Planned penetrations"), [QgsProcessing.SourceType.TypeVector], None, optional
    )


def place_parameters() -> list:
    """Which surface and level."""
    return [
        QgsProcessingParameterEnum(SURFACE, tr("Surface"), list(SURFACES), False, TOP, False, True),
        QgsProcessingParameterString(LEVEL, tr("Level"), "", False, True),
    ]


def rule_parameters() -> list:
    """Keep-out distances and assumed sizes by kind."""
    marked = tr("to be set by the responsible engineer")
    keep_out = [value for kind in KINDS for value in (kind, DEFAULT_RULES[kind].keep_out_m)]
    sizes = [
        value
        for kind in KINDS
        for value in (kind, DEFAULT_RULES[kind].smallest_diameter_m, DEFAULT_RULES[kind].largest_diameter_m)
    ]
    # QGIS refuses to take the default of a matrix that is not optional.
    tables = [
        QgsProcessingParameterMatrix(name, label.format(marked), len(KINDS), True, columns, cells, True)
        for name, label, columns, cells in (
            (KEEP_OUT, tr("Keep-out distances ({})"), [tr("Kind"), tr("Keep-out, m")], keep_out),
            (
                OBJECT_DIAMETERS,
                tr("Assumed diameters of objects ({})"),
                [tr("Kind"), tr("Smallest, m"), tr("Largest, m")],
                sizes,
            ),
        )
    ]
    tables[1].setFlags(tables[1].flags() | QgsProcessingParameterDefinition.Flag.FlagAdvanced)
    return tables


def confidence_parameters() -> list:
    """Tolerances, and how sure 'clear' must be."""
    return [
        positive_number(TOLERANCE, tr("Setting out, 1-sigma (m)"), 0.005, 0.0, 0.1),
        positive_number(
            CONFIDENCE, tr("Confidence that the keep-out distance is kept"), 0.95, 0.5, 0.999999, advanced=True
        ),
        positive_number(TOUCH_LIMIT, tr("Largest probability of touching"), 0.001, 1e-9, 0.5, advanced=True),
        positive_number(DEPTH_TOLERANCE, tr("Drilled depth, 1-sigma (m)"), 0.005, 0.0, 0.1, advanced=True),
    ]


def read_rules(algorithm, parameters, context) -> dict:
    """What is assumed of each kind; raises `ProcessingError` for a table that cannot be read."""
    keep_out = _by_kind(KEEP_OUT, _cells(algorithm, parameters, KEEP_OUT, context), 1)
    sizes = _by_kind(OBJECT_DIAMETERS, _cells(algorithm, parameters, OBJECT_DIAMETERS, context), 2)
    rules = {kind: KindRule(*keep_out[kind], *sizes[kind]) for kind in KINDS}
    check_rules(rules)
    return rules


def _cells(algorithm, parameters, name, context) -> list:
    """The cells of a table, row by row; the default's where it is missing."""
    given = parameters.get(name)
    if isinstance(given, (int, float)):
        return [given]
    cells = [cell for cell in algorithm.parameterAsMatrix(parameters, name, context) if not _missing(cell)]
    return cells or algorithm.parameterDefinition(name).defaultValue()


def _by_kind(name: str, cells, columns: int) -> dict:
    """Kind to its numbers; one number alone holds for all kinds."""
    if len(cells) == 1 and columns == 1:
        return {kind: (_number(cells[0], name),) for kind in KINDS}
    rows = [cells[i : i + 1 + columns] for i in range(0, len(cells), 1 + columns)]
    found = {str(row[0]).strip(): tuple(_number(cell, name) for cell in row[1:]) for row in rows}
    if set(found) != set(KINDS) or any(len(numbers) != columns for numbers in found.values()):
        raise ProcessingError(
            tr("{name} needs a row for each of the kinds {kinds}", name=name, kinds=", ".join(KINDS))
            + (tr(", or one number for all of them.") if columns == 1 else ".")
        )
    return found


def _missing(value) -> bool:
    return value is None or value == NULL or (isinstance(value, str) and not value.strip())


def _number(value, where: str) -> float:
    try:
        number = float(str(value).strip())
    except ValueError:
        number = math.nan
    if math.isnan(number):
        raise ProcessingError(
            tr("{where}: '{value}' is not a number; write metres with a decimal point.", where=where, value=value)
        )
    return number


def read_confidence(algorithm, parameters, context) -> Confidence:
    """How sure 'clear' must be."""
    numbers = (
        algorithm.parameterAsDouble(parameters, name, context) for name in (CONFIDENCE, TOUCH_LIMIT, DEPTH_TOLERANCE)
    )
    return Confidence(*numbers)


def rule_problems(algorithm, parameters, context) -> list:
    """Sentences on tables of keep-out distances and sizes that cannot be used."""
    try:
        read_rules(algorithm, parameters, context)
    except InslabError as error:
        return [str(error)]
    return []


def place_problems(algorithm, parameters, context) -> list:
    """Sentences on penetrations that cannot be drawn because they lack a name, a size or a place."""
    return column_problems(algorithm, parameters, context, ("penetration_id", "diameter_m"))


def column_problems(algorithm, parameters, context, required=REQUIRED) -> list:
    """Sentences on columns that the penetrations lack."""
    source = algorithm.parameterAsSource(parameters, PENETRATIONS, context)
    if source is None:
        return [tr("The penetrations cannot be read: choose a layer of points or a table.")]
    names = source.fields().names()
    geometry = QgsWkbTypes.geometryType(source.wkbType())
    if geometry not in (QgsWkbTypes.GeometryType.PointGeometry, QgsWkbTypes.GeometryType.NullGeometry):
        return [tr("The penetrations must be points or a table with x_m and y_m.")]
    wanted = [*required, *(("x_m", "y_m") if geometry == QgsWkbTypes.GeometryType.NullGeometry else ())]
    missing = [name for name in wanted if name not in names]
    return [
        tr("The penetrations {layer} have no column {column}; add it.", layer=source.sourceName(), column=name)
        for name in missing
    ]


class HoleTable:
    """Planned penetrations with their attributes, as they came.

    Attributes
    ----------
    holes : Penetrations
    sides : list of (surface, level or None)
    fields : dict
        Column to type. `rows` : list of dict, the attributes.
    """

    def __init__(self, algorithm, parameters, context):
        self.fields, records = _records(algorithm, parameters, context)
        surface = algorithm.parameterAsEnumString(parameters, SURFACE, context)
        level = algorithm.parameterAsString(parameters, LEVEL, context) or None
        tolerance = algorithm.parameterAsDouble(parameters, TOLERANCE, context)
        self.rows, self.sides, ids, numbers = [], [], [], []
        for place, record in records:
            name = (
                tr("number {count}", count=len(ids) + 1)
                if _missing(record["penetration_id"])
                else str(record["penetration_id"])
            )
            where = tr("Penetration {}").format(name)
            x, y = place or (_cell(record, "x_m", where), _cell(record, "y_m", where))
            values = [_cell(record, key, where) for key in ("diameter_m", "depth_m")]
            optional = (("tolerance_m", tolerance), ("azimuth_deg", 0.0), ("tilt_deg", 0.0))
            values += [_cell(record, key, where, otherwise) for key, otherwise in optional]
            ids.append(name)
            numbers.append((x, y, *values))
            self.rows.append({key: _plain(record[key], kind, f"{where}, {key}") for key, kind in self.fields.items()})
            self.sides.append(
                tuple(_text(record, key) or other for key, other in (("surface", surface), ("level", level)))
            )
        if not ids:
            raise ProcessingError(tr("The table contains no penetrations; add one."))
        unknown = sorted({side for side, _ in self.sides} - set(SURFACES))
        if unknown:
            raise ProcessingError(
                tr(
                    "The surface '{unknown}' is not one of {surfaces}; correct the column surface.",
                    unknown=unknown[0],
                    surfaces=", ".join(SURFACES),
                )
            )
        self.holes = holes_from_numbers(ids, numbers)


def hole_rows(algorithm, parameters, context) -> list:
    """(x, y) and columns of each penetration as plain Python, checked or not; empty where none were given.

    Raises `ProcessingError` for one that has no place.
    """
    if algorithm.parameterAsSource(parameters, PENETRATIONS, context) is None:
        return []
    fields, records = _records(algorithm, parameters, context)
    rows = []
    for place, record in records:
        where = tr("Penetration {}").format(record["penetration_id"])
        row = {key: _plain(record[key], kind, f"{where}, {key}") for key, kind in fields.items()}
        rows.append((place or (_cell(record, "x_m", where), _cell(record, "y_m", where)), row))
    return rows


def _records(algorithm, parameters, context):
    """Columns with their types, and for each hole its place (None in a table) and its values.

    Plain Python from here on: an error that holds on to QGIS's objects can outlive their layer, and then QGIS crashes.
    """
    source = algorithm.parameterAsSource(parameters, PENETRATIONS, context)
    fields = {field.name(): _type_of(field) for field in source.fields() if field.name().lower() not in ("fid", "geom")}
    records = []
    for feature in source.getFeatures():
        place = None
        if feature.hasGeometry() and not feature.geometry().isEmpty():
            vertex = feature.geometry().constGet().vertices().next()
            place = vertex.x(), vertex.y()
        records.append((place, {name: feature[name] for name in fields}))
    return fields, records


def source_file(algorithm, parameters, context) -> Optional[str]:
    """The file that the penetrations come from; None where they come from none."""
    layer = algorithm.parameterAsVectorLayer(parameters, PENETRATIONS, context)
    if layer is None:
        return None
    path = QgsProviderRegistry.instance().decodeUri(layer.providerType(), layer.source()).get("path", "")
    return path if path and Path(path).is_file() else None


def holes_from_numbers(ids, numbers) -> Penetrations:
    """`Penetrations` from rows of x, y, diameter, depth, tolerance (metres), azimuth and tilt (degrees)."""
    import numpy as np

    x, y, diameter, depth, tolerance, azimuth, tilt = np.array(numbers, float).T
    return Penetrations(ids, np.column_stack([x, y]), diameter, depth, tolerance, np.radians(azimuth), np.radians(tilt))


def _cell(record, name: str, where: str, otherwise=None) -> float:
    if not _missing(record.get(name)):
        return _number(record[name], f"{where}, {name}")
    if otherwise is None:
        raise ProcessingError(tr("{where} has no {name}; fill it in.", where=where, name=name))
    return otherwise


def _text(record, name: str):
    return None if _missing(record.get(name)) else str(record[name]).strip()


def _type_of(field) -> type:
    """Column type of the result; whole numbers of 64 bits go in as real ones, which hold 53."""
    if field.name() in NUMBERS:  # in a text table, all columns come as text
        return float
    if not field.isNumeric():
        return str
    return int if field.typeName().lower() in ("integer", "int", "int4", "smallint") else float


def _plain(value, kind: type, where: str):
    if _missing(value):
        return None
    if kind is str:
        return value.toString() if hasattr(value, "toString") else str(value)
    return kind(_number(value, where))


def polygon_edges(algorithm, parameters, name: str, context):
    """Edges of all polygons of an optional layer, shape (edge, 2, 2), metres; None where no layer was given."""
    import numpy as np

    source = algorithm.parameterAsSource(parameters, name, context)
    if source is None:
        return None
    merged = QgsGeometry.unaryUnion([feature.geometry() for feature in source.getFeatures() if feature.hasGeometry()])
    polygons = merged.asMultiPolygon() if merged.isMultipart() else [merged.asPolygon()]
    rings = [np.array([(point.x(), point.y()) for point in ring]) for polygon in polygons for ring in polygon]
    return edges_of([ring for ring in rings if len(ring) > 3])


def line_ends(algorithm, parameters, name: str, label_field: str, context) -> list:
    """(label, first point, last point) of each line of an optional layer, as plain Python."""
    source = algorithm.parameterAsSource(parameters, name, context)
    found = []
    for feature in source.getFeatures() if source is not None else ():
        geometry = feature.geometry()
        points = [(point.x(), point.y()) for point in geometry.vertices()]
        found.append((str(feature[label_field]), points[0] if points else None, points[-1] if points else None))
    return found


def geopackage_of(destination: str) -> str:
    """Path of the GeoPackage in a destination, which QGIS may give as ``ogr:dbname='path' table="name" (geom)``."""
    found = re.match(r"ogr:dbname='([^']+)'", destination)
    return found.group(1) if found else destination
