"""The steps of the main job, composed: a survey folder in, depth slices, items and a report out.

Every function here is one call for one Processing algorithm, takes plain paths and a `Monitor`, and leaves earlier results
as they were when it is cancelled or fails. One area is worked at a time, and its arrays are dropped before the next.
"""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Dict, Optional, Tuple

from .items.model import Item, Pick
from .monitor import Monitor
from .radar.model import WaveSpeed
from .site.frame import AreaFit
from .survey.model import Survey


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
        The GeoTIFFs written (`outputs.rasters.RasterFile`: absolute path, content, level, surface, area).
    fits, wave_speeds : dict
        By area id.
    picks, items : tuple
        Placed in the site grid; those of an area without position stay in its local grid.
    failures : dict
        Area id to the sentence that says why it gave no result.
    warnings : tuple of str
        Sentences for the surveyor, in the order they came up.
    seconds : dict
        Step to its running time, seconds (never written to a file: results carry no clock).
    """

    survey_path: Path
    survey: Survey
    report_path: Optional[Path] = None
    rasters: Tuple = ()
    fits: Dict[str, AreaFit] = field(default_factory=dict)
    wave_speeds: Dict[str, WaveSpeed] = field(default_factory=dict)
    picks: Tuple[Pick, ...] = ()
    items: Tuple[Item, ...] = ()
    failures: Dict[str, str] = field(default_factory=dict)
    warnings: Tuple[str, ...] = ()
    seconds: Dict[str, float] = field(default_factory=dict)

    @property
    def items_by_kind(self) -> Dict[str, int]:
        """Number of items of each kind that occurs."""

    @property
    def worst_residual_m(self) -> Optional[float]:
        """Largest residual (length in plan) of any control point, metres; None without a fitted area."""


def process_survey(survey_folder, output_folder, settings: ChainSettings = ChainSettings(), monitor: Monitor = Monitor()) -> ChainResult:
    """The whole chain: reads `survey_folder` and writes survey.gpkg, slices/, base/ and report.html into `output_folder`.

    Everything is written to a folder beside the output first and moved into place at the end.
    Raises `SurveyError` (nothing usable to read), `ProcessingError` (no area gave a result, or the output cannot be replaced),
    `MissingPackageError`, `Cancelled`.
    """


def read_step(survey_folder, survey_path, report_path=None, sample_interval_ns=None, monitor: Monitor = Monitor()) -> ChainResult:
    """Reads and checks a survey, fits its areas and writes a new GeoPackage `survey_path` (areas, lines, control points,
    findings, run log) and, if wanted, an HTML report. An existing file at `survey_path` is replaced.
    """


def wave_speed_step(survey_path, monitor: Monitor = Monitor()) -> ChainResult:
    """Estimates wave speed and time zero of each area and writes the layer `wave_speeds` into `survey_path`."""


def depth_slices_step(survey_path, output_folder, settings: ChainSettings = ChainSettings(), monitor: Monitor = Monitor()) -> ChainResult:
    """Writes depth slices and slab base of the survey in `survey_path` into `output_folder` (slices/, base/).

    Takes wave speeds from the layer `wave_speeds` where it exists and estimates the others.
    The sample interval is the one that the survey was read with (`settings.sample_interval_ns` is not used).
    """


def detect_items_step(survey_path, settings: ChainSettings = ChainSettings(), monitor: Monitor = Monitor()) -> ChainResult:
    """Detects items in every area, joins them across areas and writes the layers `picks` and `items` into `survey_path`.

    Takes wave speeds from the layer `wave_speeds` where it exists and estimates the others.
    """
