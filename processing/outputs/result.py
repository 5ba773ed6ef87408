"""What a run is told and what it leaves."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Dict, List, Optional, Tuple

from ..errors import ProcessingError
from ..items.model import KINDS, Item, Pick
from ..radar.model import WaveSpeed
from ..site.frame import AreaFit
from ..survey.model import Finding, ScanArea, Survey
from .coverage import Coverage
from .rasters import RasterFile


@dataclass(frozen=True)
class ChainSettings:
    """What a run can be told.

    Attributes
    ----------
    cell_m : float
        Cell of depth slices in plan, metres.
    depth_step_m : float
        Thickness of one depth slice, metres.
    max_depth_m : float or None
        Deepest slice, metres; None lets the radar step choose from the data.
    sample_interval_ns : float or None
        Overrides the sample interval read from the line files, nanoseconds.
    """

    cell_m: float = 0.01
    depth_step_m: float = 0.01
    max_depth_m: Optional[float] = None
    sample_interval_ns: Optional[float] = None

    def check(self) -> None:
        """Raises `ProcessingError` for a length that is not above zero."""
        for name in ("cell_m", "depth_step_m", "max_depth_m"):
            value = getattr(self, name)
            if value is not None and not 0 < value < float("inf"):
                raise ProcessingError(f"{name} must be above zero metres, not {value}.")

    def of_slices(self) -> Dict[str, Optional[float]]:
        """What depth slices depend on, for the run log."""
        return {"cell_m": self.cell_m, "depth_step_m": self.depth_step_m, "max_depth_m": self.max_depth_m}


@dataclass
class ChainResult:
    """What a run or a single step leaves. Fields of steps that did not run stay empty.

    Attributes
    ----------
    survey_path : Path
        The survey's GeoPackage.
    report_path : Path or None
        The report (HTML), where one was written.
    rasters : tuple of RasterFile
        The GeoTIFFs written (`outputs.rasters.RasterFile`: path, content, level, surface, area).
    fits, wave_speeds : dict
        By area id.
    picks : list of Pick
        Positions in the local grid of each pick's area.
    items : list of Item
        Vertices in the site grid; those of an area without position stay in its local grid.
    coverage : list of Coverage
        What counts as scanned, in the site grid.
    failures : dict
        Area id to the sentence that says why it gave no result, or not all of it.
    findings : list of Finding
        All that was noticed, from reading to the end.
    seconds : dict
        Step to its running time, seconds (never written to a file: results carry no clock).
    """

    survey_path: Path
    survey: Survey
    report_path: Optional[Path] = None
    rasters: Tuple[RasterFile, ...] = ()
    fits: Dict[str, AreaFit] = field(default_factory=dict)
    wave_speeds: Dict[str, WaveSpeed] = field(default_factory=dict)
    picks: List[Pick] = field(default_factory=list)
    items: List[Item] = field(default_factory=list)
    coverage: List[Coverage] = field(default_factory=list)
    failures: Dict[str, str] = field(default_factory=dict)
    findings: List[Finding] = field(default_factory=list)
    seconds: Dict[str, float] = field(default_factory=dict)

    @property
    def warnings(self) -> List[str]:
        """Sentences on what was left out or needs a look, in the order they came up."""
        return [f"{found.where}: {found.text}" for found in self.findings if found.severity != "note"]

    @property
    def items_by_kind(self) -> Dict[str, int]:
        """Number of items of each kind that occurs."""
        kinds = [item.kind for item in self.items]
        return {kind: kinds.count(kind) for kind in KINDS if kind in kinds}

    @property
    def worst_residual_m(self) -> Optional[float]:
        """Largest residual (length in plan) of any control point, metres; None without a fitted area."""
        return max((fit.worst_residual_m for fit in self.fits.values() if fit.is_fitted), default=None)

    def note(self, severity: str, where: str, text: str) -> None:
        """Adds a finding."""
        self.findings.append(Finding(severity, where, text))

    @property
    def areas(self) -> Dict[str, ScanArea]:
        """The survey's areas by id."""
        return {area.area_id: area for area in self.survey.areas}
