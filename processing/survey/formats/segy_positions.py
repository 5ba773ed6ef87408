"""Trace positions from SEG-Y trace headers: when to believe them.

Seismic software wrote metres of a national grid; a scan of 1 m needs millimetres of a local one, and many writers leave
rubbish in these bytes. A position misread moves a bar, so the headers are used only where all of this holds:

1. The midpoint of the antenna pair can be told: the CDP coordinates (bytes 181-188, revision 1 and 2 only), else the
   mean of source and group coordinates (73-88), else the source coordinates where the group's are all zero.
2. They vary along the line; a block of zeros or one repeated value says nothing.
3. The units at bytes 89-90 are a length or not set. Angles are not local metres.
4. The scalar at bytes 71-72 is one the standard knows: 1, 10, 100, 1000 or 10000, positive to multiply, negative to divide;
   0 is read as 1 by habit. Any other number is nonsense.
5. They are fine enough: no more than half the steps from trace to trace are zero (whole metres on a line of 1 m are not).

The result is metres (feet are converted where bytes 3255-3256 say feet) in whatever grid the file's writer used. Whether
that is the area's local grid is decided beside the table of lines (`line_checks.py`), which is the master: positions that
do not run from the table's start to its end are refused there.
"""

from typing import Optional, Tuple

import numpy as np

from ...common.language import tr

_FOOT_M = 0.3048
_KNOWN_SCALARS = (0, 1, 10, 100, 1000, 10000)


def header_positions(headers: np.ndarray, revision: int, in_feet: bool) -> Tuple[Optional[np.ndarray], Tuple[str, ...]]:
    """Positions of the traces, metres, shape (trace, 2), or None; and sentences on what was present but not used.

    `headers` is a structured array of trace headers, shape (trace,), see `segy_fields`.
    """
    pairs = _midpoints(headers, revision)
    if pairs is None:
        return None, ()
    if np.any(np.isin(headers["coordinate_units"], (2, 3, 4))):
        return None, (tr("The coordinates in its trace headers are angles, not lengths; they are not used."),)
    scalar = headers["coordinate_scalar"].astype(np.int64)
    unknown = ~np.isin(np.abs(scalar), _KNOWN_SCALARS)
    if unknown.any():
        return None, (
            tr(
                "The coordinate scalar in its trace headers is {scalar}; it must be 1, 10, 100, 1000, 10000 or the "
                "negative of one of these. The coordinates there are not used.",
                scalar=scalar[unknown][0],
            ),
        )
    size = np.maximum(np.abs(scalar), 1).astype(float)
    positions = pairs * np.where(scalar < 0, 1.0 / size, size)[:, None]
    if in_feet:
        positions *= _FOOT_M
    standing = np.all(np.diff(positions, axis=0) == 0.0, axis=1)
    if standing.mean() > 0.5:
        return None, (
            tr(
                "The coordinates in its trace headers are too coarse to tell one trace from the next; they are "
                "not used."
            ),
        )
    return positions, ()


def _midpoints(headers: np.ndarray, revision: int) -> Optional[np.ndarray]:
    """Unscaled midpoints of the antenna pair, float64, shape (trace, 2), or None where no field varies along the line."""
    source, group, cdp = (
        np.stack([headers[f"{name}_x"], headers[f"{name}_y"]], axis=1).astype(float)
        for name in ("source", "group", "cdp")
    )
    if revision >= 1 and _varies(cdp):
        return cdp
    if _varies(source) and _varies(group):
        return 0.5 * (source + group)
    if _varies(source) and not group.any():
        return source
    return None


def _varies(pairs: np.ndarray) -> bool:
    return bool(np.any(pairs != pairs[0]))
