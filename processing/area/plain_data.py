"""Data classes as plain text and arrays, and back: what goes to another process, to another machine, or into a file.

A value is text (JSON; NaN as Python writes it) plus arrays that stand beside it. Nothing in it can carry code: reading makes only
the data classes that are named here. Every number comes back with the same bits.
"""

import hashlib
import io
import json
import zipfile
import zlib
from dataclasses import fields, is_dataclass
from functools import cache
from pathlib import Path, PurePath
from typing import Callable, Dict, Optional, Tuple

import numpy as np

_TEXT, _DIGEST = "text", "digest"


@cache
def classes() -> Dict[str, type]:
    """The data classes that may come out of a file, by name."""
    from ..items.known_depths import KnownDepth
    from ..items.model import Item, Pick
    from ..radar.line_faults import Mending
    from ..radar.model import AreaDepths, DepthVolume, EchoUse, RegionSpeed, ShallowCell, SlabBase, WaveSpeed
    from ..survey.model import Finding, ScanArea, ScanLine
    from .compute import AreaResult, AreaTask

    own = (AreaTask, AreaResult, AreaDepths)
    found = (Item, Pick, DepthVolume, EchoUse, RegionSpeed, ShallowCell, SlabBase, WaveSpeed)
    return {kind.__name__: kind for kind in (*own, *found, KnownDepth, Mending, Finding, ScanArea, ScanLine)}


def to_text(value, of_path: Callable[[Path], object] = str) -> Tuple[str, Dict[str, np.ndarray]]:
    """`value` as one line of JSON, and the arrays in it by the names that stand for them there.

    `of_path` says what stands for a path. Raises `TypeError` for what is no plain data.
    """
    arrays: Dict[str, np.ndarray] = {}

    def plain(one):
        if one is None or isinstance(one, (str, bool)):
            return one
        if isinstance(one, (int, float, np.generic)):
            return one.item() if isinstance(one, np.generic) else one
        if isinstance(one, np.ndarray):
            name = f"array{len(arrays)}"
            arrays[name] = one
            return {"array": name}
        if isinstance(one, PurePath):
            return {"path": of_path(one)}
        if isinstance(one, tuple):
            return {"tuple": [plain(part) for part in one]}
        if isinstance(one, list):
            return [plain(part) for part in one]
        if isinstance(one, dict):
            return {"dict": [[plain(key), plain(part)] for key, part in one.items()]}
        if is_dataclass(one) and type(one).__name__ in classes():
            values = {field.name: plain(getattr(one, field.name)) for field in fields(one)}
            return {"is": type(one).__name__, "with": values}
        raise TypeError(f"{type(one).__name__} is no plain data")

    return json.dumps(plain(value), sort_keys=True), arrays


def from_text(text: str, arrays: Optional[Dict[str, np.ndarray]] = None):
    """The value that `to_text` made `text` of. Raises `ValueError` where it did not."""

    def value(one):
        if isinstance(one, list):
            return [value(part) for part in one]
        if not isinstance(one, dict):
            return one
        if "array" in one:
            return arrays[one["array"]]
        if "path" in one:
            return Path(one["path"])
        if "tuple" in one:
            return tuple(value(part) for part in one["tuple"])
        if "dict" in one:
            return {value(key): value(part) for key, part in one["dict"]}
        return classes()[one["is"]](**{name: value(part) for name, part in one["with"].items()})

    try:
        return value(json.loads(text))
    except (KeyError, TypeError, AttributeError) as error:
        raise ValueError(f"this is no data of Inslab: {error}") from error


def to_bytes(value) -> bytes:
    """`value` as a file of numpy's npz format, without pickle: its text, its arrays and a SHA-256 over both."""
    text, arrays = to_text(value)
    file = io.BytesIO()
    held = {_TEXT: np.frombuffer(text.encode("utf-8"), np.uint8), **arrays}
    np.savez(file, **held, **{_DIGEST: np.frombuffer(_digest(held), np.uint8)})
    return file.getvalue()


def from_bytes(content: bytes):
    """The value that `to_bytes` made `content` of. Raises `ValueError` where a single bit of it has changed."""
    try:
        with np.load(io.BytesIO(content), allow_pickle=False) as file:
            held = {name: file[name] for name in file.files}
        digest = held.pop(_DIGEST).tobytes()
        text = held[_TEXT].tobytes().decode("utf-8")
    except (OSError, EOFError, KeyError, ValueError, NotImplementedError, RuntimeError) as error:
        raise ValueError(f"this is no data of Inslab: {error}") from error
    except (zipfile.BadZipFile, zlib.error) as error:
        raise ValueError(f"these data are damaged: {error}") from error
    if digest != _digest(held):
        raise ValueError("these data are damaged: their checksum differs")
    held.pop(_TEXT)
    return from_text(text, held)


def _digest(held: Dict[str, np.ndarray]) -> bytes:
    """SHA-256 over names, types, shapes and bytes of arrays."""
    digest = hashlib.sha256()
    for name in sorted(held):
        array = np.ascontiguousarray(held[name])
        digest.update(f"{name} {array.dtype.str} {array.shape};".encode())
        digest.update(array.tobytes())
    return digest.digest()
