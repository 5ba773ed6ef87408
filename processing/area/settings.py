"""What a run can be told."""

from dataclasses import asdict, dataclass, field
from typing import Dict, Optional

from ..common.errors import ProcessingError
from ..common.language import tr
from ..radar.line_faults import Mending
from ..site.results import FitSettings


@dataclass(frozen=True)
class RunSettings:
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
    fit : FitSettings
        How areas are fitted to the site grid.
    mending : Mending
        Which faults of lines are mended before anything is computed from them.
    """

    cell_m: float = 0.01
    depth_step_m: float = 0.01
    max_depth_m: Optional[float] = None
    sample_interval_ns: Optional[float] = None
    fit: FitSettings = field(default_factory=FitSettings)
    mending: Mending = field(default_factory=Mending)

    def check(self) -> None:
        """Raises `ProcessingError` for a length that is not above zero."""
        for name in ("cell_m", "depth_step_m", "max_depth_m"):
            value = getattr(self, name)
            if value is not None and not 0 < value < float("inf"):
                raise ProcessingError(
                    tr("{name} must be greater than zero metres, not {value}.", name=name, value=value)
                )

    def of_fit(self) -> Dict[str, object]:
        """What the fit of areas depends on, for the run log."""
        return self.fit.as_parameters()

    def of_lines(self) -> Dict[str, object]:
        """How lines are prepared, for the run log."""
        return {"mended": asdict(self.mending)}

    def of_slices(self) -> Dict[str, Optional[float]]:
        """What depth slices depend on, for the run log."""
        return {"cell_m": self.cell_m, "depth_step_m": self.depth_step_m, "max_depth_m": self.max_depth_m}
