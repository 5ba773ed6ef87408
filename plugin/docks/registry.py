"""Which panels there are. A panel's module is imported when it is opened first, so that QGIS starts without it."""

from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Tuple

from ...processing.common.language import tr

ICONS = Path(__file__).parent.parent / "icons"


@dataclass(frozen=True)
class PanelEntry:
    """One panel: module `panel` of its folder here has a function `make(desk)` that returns the QDockWidget.

    Attributes
    ----------
    name : str
        Of the folder with `_panel` after it, and part of the object name by which QGIS remembers the panel's place.
    title, tip : str
        In the menu and on the panel; what the panel is for, in one sentence.
    """

    name: str
    title: str
    tip: str

    @property
    def icon_path(self) -> str:
        return str(ICONS / f"{self.name}.svg")

    def make(self, desk):
        """A new panel; `desk` is the `Desk` it belongs to."""
        return import_module(f".{self.name.removesuffix('_panel')}.panel", __package__).make(desk)


PANELS: Tuple[PanelEntry, ...] = (
    PanelEntry("survey_panel", tr("Survey"), tr("Set up a survey, run its steps and see the state of each.")),
    PanelEntry("depth_panel", tr("Depth"), tr("Choose the depth that the map shows.")),
    PanelEntry("section_panel", tr("Section"), tr("Look at a scan line, or at a section through the depth slices.")),
    PanelEntry("record_panel", tr("Record"), tr("Ask the building's record what is in a place, and what is unknown.")),
)
