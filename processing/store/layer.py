"""One table of a GeoPackage: its columns and rows."""

import math
from dataclasses import dataclass, field
from typing import Callable, Mapping, Optional, Sequence, Tuple

from ..common.gdal_failures import done
from ..common.packages import import_gdal
from ..geometry.shapes import geometry_of
from .table_schema import Table


@dataclass(frozen=True)
class Layer:
    """One table of a GeoPackage.

    Attributes
    ----------
    geometry : str or None
        One of `geometry.shapes.KINDS`, None for a table without geometry.
    fields : mapping of str to type
        Column name to ``str``, ``int``, ``float`` or ``bool``, in order.
    rows : sequence of (coordinates, values)
        Coordinates: None, or those that `geometry.shapes.geometry_of` takes. Values: by column name; a missing one, None and NaN
        become NULL.
    """

    name: str
    geometry: Optional[str]
    fields: Mapping[str, type]
    rows: Sequence[Tuple[object, Mapping]] = field(repr=False)
    description: str = ""


def layer_of(
    table: Table, rows: Sequence[Tuple[object, Mapping]], fields: Optional[Mapping[str, type]] = None
) -> Layer:
    """Rows as a layer with the name, geometry and texts of `table`, and with its fields unless others are given."""
    return Layer(table.name, table.geometry, table.columns if fields is None else fields, rows, table.full_description)


class RowsOf(Sequence):
    """The rows of many things, each made by `row_of` whenever it is asked for: all at once would fill the memory of a big floor."""

    def __init__(self, things: Sequence, row_of: Callable[..., Tuple[object, Mapping]]):
        self._things, self._row_of = things, row_of

    def __len__(self) -> int:
        return len(self._things)

    def __getitem__(self, number):
        return self._row_of(self._things[number])


def add_row(target, layer: Layer, coordinates, values: Mapping) -> None:
    """Adds one row to GDAL's layer `target`. Raises `GdalFailure` where that refuses it."""
    _, ogr, _ = import_gdal()
    unknown = set(values) - set(layer.fields)
    if unknown:
        raise KeyError(f"layer {layer.name} has no field {sorted(unknown)}")
    feature = ogr.Feature(target.GetLayerDefn())
    # A column's number is that of its making.
    for number, (name, kind) in enumerate(layer.fields.items()):
        value = values.get(name)
        if value is not None and not (kind is float and math.isnan(value)):
            feature.SetField(number, kind(value) if kind is not bool else int(value))
    if coordinates is not None:
        done(feature.SetGeometry(geometry_of(layer.geometry, coordinates)))
    done(target.CreateFeature(feature))
