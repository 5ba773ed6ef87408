"""The data model of a survey: areas, lines and control points.

Lengths are metres in the area's own local grid, times nanoseconds. Traces are loaded one line at a time and never kept.
"""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Mapping, Optional, Tuple

import numpy as np

DIPOLE_AXES = ("across", "along")


@dataclass(frozen=True)
class Finding:
    """One thing that was noticed while reading: what, where, and what to do.

    `severity` is ``error`` (the thing was left out), ``warning`` (used, but look at it) or ``note``.
    """

    severity: str
    where: str
    text: str


@dataclass(frozen=True)
class ScanLine:
    """One pass of the antenna with one dipole axis: a file of traces and where it was taken.

    Attributes
    ----------
    start_m, end_m : tuple of float
        Local x, y of the first and last trace, metres (nominal).
    positions_m : ndarray or None
        Local x, y of each trace, shape (trace, 2), where the file itself carries them.
    """

    area_id: str
    line_id: str
    dipole_axis: str
    path: Path
    start_m: Tuple[float, float]
    end_m: Tuple[float, float]
    trace_count: int
    sample_count: int
    sample_interval_ns: float
    positions_m: Optional[np.ndarray] = field(default=None, compare=False, repr=False)
    extra: Mapping[str, str] = field(default_factory=dict, compare=False)

    @property
    def name(self) -> str:
        """Unique within its area: the two dipole axes of one pass share a line id."""
        return f"{self.line_id} {self.dipole_axis}"

    @property
    def length_m(self) -> float:
        return float(np.hypot(self.end_m[0] - self.start_m[0], self.end_m[1] - self.start_m[1]))

    @property
    def direction(self) -> np.ndarray:
        """Unit vector of travel in the local grid, shape (2,)."""
        return np.subtract(self.end_m, self.start_m) / self.length_m

    def distances_m(self) -> np.ndarray:
        """Distance of each trace from the start along the line, metres, shape (trace,)."""
        if self.positions_m is not None:
            return (self.positions_m - np.asarray(self.start_m)) @ self.direction
        return np.linspace(0.0, self.length_m, self.trace_count)

    def trace_positions_m(self) -> np.ndarray:
        """Local x, y of each trace, metres, shape (trace, 2)."""
        if self.positions_m is not None:
            return self.positions_m
        return np.asarray(self.start_m) + self.distances_m()[:, None] * self.direction

    def read_traces(self) -> np.ndarray:
        """The recorded amplitudes, float32, shape (trace, sample). Raises `SurveyError` naming the file."""
        from .formats.registry import read_traces

        return read_traces(self.path)


@dataclass(frozen=True)
class ControlPoint:
    """A point known in an area's local grid and in the site grid (metres).

    `sigma_m` is the 1-sigma of each of its site coordinates, `local_sigma_m` that of its mark in the local grid (0 where it is
    not stated, and then taken to be part of `sigma_m`).
    """

    area_id: str
    point_id: str
    local_m: Tuple[float, float]
    site_m: Tuple[float, float]
    sigma_m: float
    local_sigma_m: float = 0.0


@dataclass(frozen=True)
class ScanArea:
    """One small grid of lines on a slab top, a soffit or a wall."""

    area_id: str
    level: str
    surface: str
    antenna_separation_m: float
    centre_frequency_mhz: float
    scanned_on: str = ""
    scanned_by: str = ""
    note: str = ""
    lines: Tuple[ScanLine, ...] = ()
    control_points: Tuple[ControlPoint, ...] = ()
    extra: Mapping[str, str] = field(default_factory=dict, compare=False)

    @property
    def centre_frequency_ghz(self) -> float:
        return self.centre_frequency_mhz / 1000.0


@dataclass(frozen=True)
class Survey:
    """One job: a folder with its areas, and what was noticed while reading it."""

    folder: Path
    areas: Tuple[ScanArea, ...]
    findings: Tuple[Finding, ...] = ()

    @property
    def line_count(self) -> int:
        return sum(len(area.lines) for area in self.areas)
