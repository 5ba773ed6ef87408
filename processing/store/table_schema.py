"""Tables and their fields, stated once: code, files and documentation are made from them.

A field's name is read from its table, so that none stands as a literal where rows are made or read: ``row[ITEMS.depth_min_m]``.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Dict, Iterable, Optional, Tuple


@dataclass(frozen=True)
class Field:
    """One column.

    Attributes
    ----------
    kind : type
        ``str``, ``int``, ``float`` or ``bool``.
    says : str
        What it says.
    domain : tuple of str
        The only words allowed in it, if any.
    absent : float or None
        The number meant by a table that was made before there was such a column; None: no table of this version lacks it.
    """

    name: str
    kind: type
    says: str
    domain: Tuple[str, ...] = ()
    absent: Optional[float] = None


@dataclass(frozen=True)
class Table:
    """One table: ``table.some_field`` is the name of its field `some_field`, unless the table itself has something of that name.

    Attributes
    ----------
    geometry : str or None
        As in GeoPackage, with a Z where vertices have heights.
    description : str
        What one row is.
    fields : tuple of Field
        In the order of the columns. The first one is the key where the table has one.
    caution : str
        What is said in the file after the description.
    """

    name: str
    geometry: Optional[str]
    description: str
    fields: Tuple[Field, ...]
    caution: str = ""

    def __post_init__(self):
        for field in self.fields:
            if not hasattr(self, field.name):
                object.__setattr__(self, field.name, field.name)

    @property
    def full_description(self) -> str:
        """The description with its caution, as the file has it."""
        return " ".join(part for part in (self.description, self.caution) if part)

    @property
    def key(self) -> str:
        return self.fields[0].name

    @cached_property
    def columns(self) -> Dict[str, type]:
        """Name to type of every field but the geometry, in order."""
        return {field.name: field.kind for field in self.fields}

    @cached_property
    def absent(self) -> Dict[str, float]:
        """Name to meaning of the fields that an older table may lack."""
        return {field.name: field.absent for field in self.fields if field.absent is not None}


def texts(**says: str) -> Tuple[Field, ...]:
    """Fields that hold text: name and what each says."""
    return _fields(str, says)


def numbers(**says: str) -> Tuple[Field, ...]:
    """Fields that hold a number."""
    return _fields(float, says)


def counts(**says: str) -> Tuple[Field, ...]:
    """Fields that hold a whole number."""
    return _fields(int, says)


def flags(**says: str) -> Tuple[Field, ...]:
    """Fields that hold yes or no."""
    return _fields(bool, says)


def _fields(kind: type, says: Dict[str, str]) -> Tuple[Field, ...]:
    return tuple(Field(name, kind, text) for name, text in says.items())


def as_markdown(tables: Iterable[Table], keyed: bool = True) -> str:
    """Tables and fields as a page of documentation shows them; `keyed`: the first field of each is its key."""
    types = {str: "text", int: "whole number", float: "number", bool: "yes or no"}
    parts = []
    for table in tables:
        shape = f" ({table.geometry})" if table.geometry else ""
        what = table.description.rstrip(".")
        parts += [f"### `{table.name}`{shape}", "", f"{what[0].upper()}{what[1:]}.", ""]
        parts += ["| field | type | what it says |", "| --- | --- | --- |"]
        for number, field in enumerate(table.fields):
            words = f": {', '.join(f'`{word}`' for word in field.domain)}" if field.domain else ""
            key = " (key)" if keyed and number == 0 else ""
            parts.append(f"| `{field.name}`{key} | {types[field.kind]} | {field.says}{words} |")
        parts.append("")
    return "\n".join(parts)
