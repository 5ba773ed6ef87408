"""What was read of a survey, what was found in it, and what a step leaves: values that never change, handed from step to step."""

from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import Dict, List, Mapping, Optional, Tuple

from ..common.vocabulary.kinds import KINDS
from ..items.model import Item, Pick
from ..items.same_object import Disagreement
from ..radar.model import AreaDepths, WaveSpeed
from ..site.crs import local_crs_wkt
from ..site.frame import AreaFit
from ..site.observations import Observations, Tie
from ..site.results import SiteFit
from ..survey.fingerprint import FileState
from ..survey.model import Finding, ScanArea, Survey
from .coverage import Coverage
from .edited_rows import Known
from .overlaps import Seam

# What a GeoTIFF of a result holds; its folder is called so, too.
SLICES, BASE, ORIGIN = RASTER_CONTENTS = "slices", "base", "origin"


@dataclass(frozen=True)
class RasterFile:
    """One GeoTIFF of a result.

    `content` is `SLICES` (one band a depth step, dB over local noise), `BASE` (thickness and its 1-sigma, metres) or `ORIGIN`
    (which area each cell of a mosaic comes from); `area_id` is empty for a mosaic of a level and surface.
    `levelled_db` is what the mosaic adds to the values of an area's slices, so that neighbours agree.
    """

    path: Path
    content: str
    level: str
    surface: str
    area_id: str = ""
    levelled_db: Optional[float] = None


def _fixed(value):
    """A value that nobody can change any more: of a dictionary, at all its levels, a read-only copy; of a list a tuple."""
    if isinstance(value, dict):
        copy = value.copy()
        copy.update({key: _fixed(one) for key, one in value.items()})
        return MappingProxyType(copy)
    return tuple(value) if isinstance(value, list) else value


class _Fixed:
    """Fixes every field of a frozen dataclass, whatever it was made of."""

    def __post_init__(self):
        for one in fields(self):
            object.__setattr__(self, one.name, _fixed(getattr(self, one.name)))


@dataclass(frozen=True)
class SurveyRead(_Fixed):
    """What was read of a survey: its folder, and what earlier runs left that what is found must fit.

    Attributes
    ----------
    survey_path : Path
        The survey's GeoPackage.
    crs_wkt : str
        Coordinate system of the site grid.
    observations : Observations
        Ties, known directions, taped distances and walls of the survey folder, where a step fits areas.
    known_depths : tuple of KnownDepth or None
        What cores, drill holes and drawings say of depths (`items.known_depths`); None where no step asked for it.
    inputs : mapping
        Group to file to fingerprint of all that was read (`store.fingerprints`).
    fingerprints : mapping
        The same by the state of each file: what is in that state still need not be hashed again (`survey.fingerprint`).
    """

    survey_path: Path
    survey: Survey
    crs_wkt: str = field(default_factory=local_crs_wkt, repr=False)
    observations: Observations = field(default_factory=Observations)
    known_depths: Optional[Tuple] = None
    inputs: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    fingerprints: Mapping[FileState, str] = field(default_factory=dict, repr=False)

    @cached_property
    def areas(self) -> Mapping[str, ScanArea]:
        """The survey's areas by id."""
        return {area.area_id: area for area in self.survey.areas}


@dataclass(frozen=True)
class Found(_Fixed):
    """What was found in a survey. Fields of steps that did not run stay empty.

    Attributes
    ----------
    site_fit : SiteFit or None
        The joint adjustment, where this run made it.
    item_ties : tuple of Tie
        Ties across items that two areas both see, which the latest fit used besides what was measured on site.
    fits, wave_speeds, depths : mapping
        By area id; `depths` holds what the areas' echoes say of the slab (`AreaDepths`).
    picks : tuple of Pick
        Positions in the local grid of each pick's area, with the item ids of `area_items`.
    area_items : tuple of Item
        Items of each area for itself, in its local grid.
    joined_as : mapping
        Id of an area's item to that of the joined one; None where the surveyor deleted that one.
    disagreements : tuple of Disagreement
        Items of two areas that would be one object but for an offset beyond their uncertainties (`items.same_object.Disagreement`).
    seams : tuple of Seam
        Items seen in two areas, and how far apart they come out.
    items : tuple of Item
        Vertices in the site grid; those of an area without position stay in its local grid.
    by_hand : mapping
        Item id to the columns of a surveyor's row that are not those of `Item`.
    drawn_picks : tuple of (coordinates, values)
        The surveyor's rows of `picks`.
    dismissed : tuple of Known
        Computed rows that gave way to the surveyor's (`floor.edited_rows.Known`).
    coverage : tuple of Coverage
        What counts as scanned, in the site grid.
    failures : mapping
        Area id to the sentence that says why it gave no result, or not all of it.
    findings : tuple of Finding
        All that was noticed, from reading to the end.
    seconds : mapping
        Step to its running time, seconds (never written to a file: results carry no clock).
    """

    site_fit: Optional[SiteFit] = None
    item_ties: Tuple[Tie, ...] = ()
    fits: Mapping[str, AreaFit] = field(default_factory=dict)
    wave_speeds: Mapping[str, WaveSpeed] = field(default_factory=dict)
    depths: Mapping[str, AreaDepths] = field(default_factory=dict)
    picks: Tuple[Pick, ...] = ()
    area_items: Tuple[Item, ...] = ()
    joined_as: Mapping[str, Optional[str]] = field(default_factory=dict)
    disagreements: Tuple[Disagreement, ...] = ()
    seams: Tuple[Seam, ...] = ()
    items: Tuple[Item, ...] = ()
    by_hand: Mapping[str, Mapping] = field(default_factory=dict)
    drawn_picks: Tuple[Tuple[object, Mapping], ...] = ()
    dismissed: Tuple[Known, ...] = ()
    coverage: Tuple[Coverage, ...] = ()
    failures: Mapping[str, str] = field(default_factory=dict)
    findings: Tuple[Finding, ...] = ()
    seconds: Mapping[str, float] = field(default_factory=dict)

    def noting(self, *findings: Finding) -> "Found":
        """With further findings."""
        return replace(self, findings=(*self.findings, *findings))

    def without_findings_at(self, *places: str) -> "Found":
        """Without what an earlier step said at these places, which a later one says anew."""
        return replace(self, findings=tuple(found for found in self.findings if found.where not in places))

    def taking(self, seconds: Mapping[str, float]) -> "Found":
        """With the running times of further steps."""
        total = {step: self.seconds.get(step, 0.0) + time for step, time in seconds.items()}
        return replace(self, seconds={**self.seconds, **total})

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


@dataclass(frozen=True)
class StepResult(_Fixed):
    """What a step read, found and wrote: the GeoTIFFs, and the report (HTML) where there is one."""

    read: SurveyRead
    found: Found
    rasters: Tuple[RasterFile, ...] = ()
    report_path: Optional[Path] = None

    @property
    def survey_path(self) -> Path:
        """The survey's GeoPackage."""
        return self.read.survey_path
