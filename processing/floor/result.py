"""What a run is told and what it leaves."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Dict, List, Mapping, Optional, Tuple

from ..items.join import Disagreement
from ..items.model import KINDS, Item, Pick
from ..radar.model import AreaDepths, WaveSpeed
from ..site.crs import local_crs_wkt
from ..site.frame import AreaFit
from ..site.observations import Observations, Tie
from ..site.results import SiteFit
from ..survey.model import Finding, ScanArea, Survey
from .coverage import Coverage
from .edited_rows import Known
from .overlaps import Seam


@dataclass(frozen=True)
class RasterFile:
    """One GeoTIFF of a result.

    `content` is ``slices`` (one band a depth step, dB over local noise), ``base`` (thickness and its 1-sigma, metres) or ``origin``
    (which area each cell of a mosaic comes from); `area_id` is empty for a mosaic of a level and surface.
    `levelled_db` is what the mosaic adds to the values of an area's slices, so that neighbours agree.
    """

    path: Path
    content: str
    level: str
    surface: str
    area_id: str = ""
    levelled_db: Optional[float] = None


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
        The GeoTIFFs written (`store.rasters.RasterFile`: path, content, level, surface, area).
    crs_wkt : str
        Coordinate system of the site grid.
    observations : Observations
        Ties, known directions and taped distances of the survey folder.
    item_ties : tuple of Tie
        Ties across items that two areas both see, which the latest fit used besides.
    site_fit : SiteFit or None
        The joint adjustment, where this run made it.
    known_depths : tuple of KnownDepth or None
        What cores, drill holes and drawings say of depths (`items.known_depths`); None until the first wave speed asks for it.
    inputs : dict
        Fingerprints of the files that were read (`store.fingerprints`).
    fits, wave_speeds, depths : dict
        By area id; `depths` holds what the areas' echoes say of the slab (`AreaDepths`).
    picks : list of Pick
        Positions in the local grid of each pick's area, with the item ids of `area_items`.
    area_items : list of Item
        Items of each area for itself, in its local grid.
    joined_as : dict
        Id of an area's item to that of the joined one; None where the surveyor deleted that one.
    disagreements : list of Disagreement
        Items of two areas that would be one object but for an offset beyond their uncertainties (`items.join.Disagreement`).
    seams : list of Seam
        Items seen in two areas, and how far apart they come out.
    items : list of Item
        Vertices in the site grid; those of an area without position stay in its local grid.
    by_hand : dict
        Item id to the columns of a surveyor's row that are not those of `Item`.
    drawn_picks : list of (coordinates, values)
        The surveyor's rows of `picks`.
    dismissed : list of Known
        Computed rows that gave way to the surveyor's (`floor.edited_rows.Known`).
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
    crs_wkt: str = field(default_factory=local_crs_wkt, repr=False)
    observations: Observations = field(default_factory=Observations)
    item_ties: Tuple[Tie, ...] = ()
    site_fit: Optional[SiteFit] = None
    known_depths: Optional[Tuple] = None
    inputs: Dict[str, Dict[str, str]] = field(default_factory=dict)
    fits: Dict[str, AreaFit] = field(default_factory=dict)
    wave_speeds: Dict[str, WaveSpeed] = field(default_factory=dict)
    depths: Dict[str, AreaDepths] = field(default_factory=dict)
    picks: List[Pick] = field(default_factory=list)
    area_items: List[Item] = field(default_factory=list)
    joined_as: Dict[str, Optional[str]] = field(default_factory=dict)
    disagreements: List[Disagreement] = field(default_factory=list)
    seams: List[Seam] = field(default_factory=list)
    items: List[Item] = field(default_factory=list)
    by_hand: Dict[str, Mapping] = field(default_factory=dict)
    drawn_picks: List[Tuple[object, Mapping]] = field(default_factory=list)
    dismissed: List[Known] = field(default_factory=list)
    coverage: List[Coverage] = field(default_factory=list)
    failures: Dict[str, str] = field(default_factory=dict)
    findings: List[Finding] = field(default_factory=list)
    seconds: Dict[str, float] = field(default_factory=dict)

    @property
    def all_observations(self) -> Observations:
        """Those of the survey folder, and the ties across items that the latest fit used."""
        return self.observations.with_ties(self.item_ties)

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
