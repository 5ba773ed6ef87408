"""The steps of the chain: one table of what they are called, which algorithm does them and what their results depend on."""

from dataclasses import dataclass
from typing import Mapping, Tuple

from ..language import tr

# Groups of the files of a survey folder that a step may read (`store/fingerprints.py` says which files).
LINES, PLACES, DEPTHS = "lines", "places", "known depths"
READ_SURVEY, FIT_AREAS, ESTIMATE_SPEED, DEPTH_SLICES = "read survey", "fit areas", "estimate wave speed", "depth slices"
DETECT_ITEMS, JOIN_ITEMS, CHECK_PENETRATIONS, WRITE_REPORT = (
    *("detect items", "join items", "check penetrations", "write report"),
)


@dataclass(frozen=True)
class Step:
    """One step of the chain.

    Attributes
    ----------
    name, title : str
        As in the run log, and as a person reads it.
    algorithm : str
        Name of the Processing algorithm that does it.
    reads : tuple of str
        Groups of files that its result depends on.
    after : tuple of str
        Steps whose results it takes; when one of them is run later, it is outdated.
    done_by : tuple of str
        Steps that do its work where it was not run by itself.
    """

    name: str
    title: str
    algorithm: str
    reads: Tuple[str, ...] = ()
    after: Tuple[str, ...] = ()
    done_by: Tuple[str, ...] = ()


# In the order in which they are run.
STEPS: Mapping[str, Step] = {
    step.name: step
    for step in (
        Step(READ_SURVEY, tr("Read and check"), "readsurvey", (LINES,)),
        Step(FIT_AREAS, tr("Fit areas together"), "fitareas", (LINES, PLACES), (READ_SURVEY,)),
        Step(
            ESTIMATE_SPEED,
            tr("Wave speed"),
            "wavespeed",
            (LINES, DEPTHS),
            (READ_SURVEY,),
            done_by=(DEPTH_SLICES, DETECT_ITEMS),
        ),
        Step(DEPTH_SLICES, tr("Depth slices"), "depthslices", (LINES,), (FIT_AREAS, ESTIMATE_SPEED)),
        Step(DETECT_ITEMS, tr("Detect items"), "detectitems", (LINES,), (ESTIMATE_SPEED,)),
        Step(JOIN_ITEMS, tr("Join across areas"), "joinitems", (), (FIT_AREAS, DETECT_ITEMS)),
        Step(CHECK_PENETRATIONS, tr("Check penetrations"), "checkpenetrations", (), (FIT_AREAS, JOIN_ITEMS)),
        Step(
            WRITE_REPORT,
            tr("Report"),
            "surveyreport",
            (),
            (FIT_AREAS, ESTIMATE_SPEED, DEPTH_SLICES, JOIN_ITEMS),
        ),
    )
}
