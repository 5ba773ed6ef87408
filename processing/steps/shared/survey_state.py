"""Where a survey stands: which steps of the chain were run, and whether what they left still fits what they were made from.

Everything is derived from survey.gpkg (its run log, with the fingerprints of the files that each step read) and from the survey
folder as it is now, so that no state is kept elsewhere and none can be wrong.
"""

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Dict, List, Mapping, Optional, Sequence, Tuple

from ...common.errors import InslabError
from ...common.language import tr
from ...common.monitor import Monitor
from ...common.vocabulary.steps import (
    CHECK_PENETRATIONS,
    DEPTHS,
    ESTIMATE_SPEED,
    FIT_AREAS,
    JOIN_ITEMS,
    LINES,
    PLACES,
    READ_SURVEY,
    STEPS,
    WRITE_REPORT,
    Step,
)
from ...edits import settling
from ...edits.hand_edits import edited_since
from ...floor import fitting
from ...store import fingerprints, layers, reading
from ...store.fingerprints import Inputs
from ...store.geopackage import read_layer, replace_layers
from ...store.locks import changes_survey
from ...store.schema import RUN_LOG, WAVE_SPEEDS
from ...survey.fingerprint import Remembered, fingerprint_file
from ...survey.model import Finding
from ...survey.tables import CONTROL_POINTS_FILE, KNOWN_DEPTHS_FILE

NOT_DONE, DONE, WARNINGS, OUTDATED = "not done", "done", "warnings", "outdated"
_SHOWN_FILES = 3


@dataclass(frozen=True)
class StepState:
    """How one step stands: `state` is one of the words above, `reasons` are sentences, `findings` what it noticed."""

    step: Step
    state: str
    reasons: Tuple[str, ...] = ()
    findings: Tuple[Finding, ...] = ()

    @property
    def title(self) -> str:
        return self.step.title


def read_states(
    survey_path, folder=None, remembered: Optional[Remembered] = None, monitor: Monitor = Monitor()
) -> List[StepState]:
    """The state of each of `STEPS`. Without `survey_path` nothing is done yet.

    `folder` is where the survey lies; without it, where `survey_path` says. `remembered` keeps fingerprints between calls.
    Raises `SurveyError` where `survey_path` is no survey, `Cancelled`.
    """
    survey_path = Path(survey_path)
    if not survey_path.is_file():
        return [StepState(step, NOT_DONE) for step in STEPS.values()]
    log = reading.read_run_log(survey_path)
    rows = {row[RUN_LOG.step]: row for row in log}  # of steps run more than once the last counts
    changes, unknown = _changes(survey_path, folder, remembered, monitor)
    findings = _findings_by_step(survey_path)
    states: Dict[str, StepState] = {}
    for step in STEPS.values():
        row = _row_of(step, log, rows)
        gone = _result_that_is_gone(row, survey_path)
        if row is None or gone:
            states[step.name] = StepState(step, NOT_DONE, (gone,) if gone else ())
            continue
        reasons = [unknown] if unknown else _changed_files(step, row, changes)
        reasons += _later_steps(step, row, rows, states)
        reasons += _changed_by_hand(step, row, survey_path)
        noticed = tuple(findings.get(step.name, ()))
        state = OUTDATED if reasons else WARNINGS if any(one.severity != "note" for one in noticed) else DONE
        states[step.name] = StepState(step, state, tuple(reasons), noticed)
    return list(states.values())


def steps_to_run(states: Sequence[StepState]) -> List[str]:
    """Names of the steps that are not done or outdated, in order; those about penetrations are for the user to start."""
    return [
        one.step.name for one in states if one.state in (NOT_DONE, OUTDATED) and one.step.name != CHECK_PENETRATIONS
    ]


def areas_named(finding: Finding, area_ids: Sequence[str]) -> List[str]:
    """Which of the survey's areas a finding is about: those it names where it was found, else those in its sentence."""
    for text in (finding.where, finding.text):
        named = [name for name in area_ids if re.search(rf"(?<![\w-]){re.escape(name)}(?![\w-])", text)]
        if named:
            return named
    return []


def note_step(survey_path, step: str, parameters: Mapping, monitor: Monitor = Monitor()) -> None:
    """Adds a row to the run log for a step whose result lies in files of its own.

    Where that cannot be written the result is none the worse: then `monitor` is told in a sentence.
    """
    try:
        _add_to_log(survey_path, step, parameters)
    except InslabError as error:
        monitor.warn(tr("The run of this step could not be noted in the survey: {reason}", reason=error))


@changes_survey
def _add_to_log(survey_path, step: str, parameters: Mapping) -> None:
    grown = layers.run_log_layer(reading.read_run_log(survey_path), [(step, parameters)], {})
    replace_layers(survey_path, [grown], reading.read_crs_wkt(survey_path))


def file_parameters(path) -> Dict[str, str]:
    """The parameters by which `note_step` lets a later change of an input file be known."""
    return {"file": Path(path).resolve().as_posix(), "fingerprint": fingerprint_file(path)}


def result_parameters(survey_path, path) -> Dict[str, str]:
    """The parameters by which `note_step` lets it be known that a result is no longer there; a copied folder keeps its own."""
    folder, path = Path(survey_path).resolve().parent, Path(path).resolve()
    inside = folder in path.parents
    return {"result": (path.relative_to(folder) if inside else path).as_posix()}


def _result_that_is_gone(row: Optional[Mapping], survey_path: Path) -> str:
    """A sentence where the file that a step noted as its result is not there."""
    name = json.loads((row and row[RUN_LOG.parameters]) or "{}").get("result")
    if name is None or (survey_path.parent / name).is_file():
        return ""
    return tr("Its result {file} is missing.", file=name)


def _changes(survey_path: Path, folder, remembered, monitor: Monitor) -> Tuple[Tuple[Inputs, Inputs], str]:
    """Files as the latest step read them and as they are now; and a sentence where that cannot be known."""
    try:
        folder = Path(folder) if folder else reading.find_survey_folder(survey_path)
        if not folder.is_dir():
            return ({}, {}), tr("The survey folder {folder} is missing.", folder=folder)
    except InslabError as error:
        return ({}, {}), str(error)
    now = fingerprints.survey_inputs(folder, remembered, monitor)
    return (fingerprints.read_inputs(survey_path), now), ""


def _row_of(step: Step, log: Sequence[Mapping], rows: Mapping[str, Mapping]) -> Optional[Mapping]:
    """The row of the run log that tells of a step: its own latest one, or the first of a step that does its work."""
    if step.name in rows:
        return rows[step.name]
    return next((row for row in log if row[RUN_LOG.step] in step.done_by), None)


def _changed_files(step: Step, row: Mapping, changes: Tuple[Inputs, Inputs]) -> List[str]:
    """Sentences on files that are not those which the step read."""
    if not step.reads:
        return []
    before, now = changes
    if not row.get(RUN_LOG.inputs):
        return [tr("It was run by an earlier version, which did not note what it read.")]
    read, present = json.loads(row[RUN_LOG.inputs]), fingerprints.summary(now)
    said = []
    for group in step.reads:
        if read.get(group) == present[group]:
            continue
        names = fingerprints.changed_files(before, now, group)
        more = tr(" and {count} more", count=len(names) - _SHOWN_FILES) if len(names) > _SHOWN_FILES else ""
        which = ", ".join(names[:_SHOWN_FILES]) + more if names else _GROUP_NAMES[group]
        said.append(tr("Changed since: {files}.", files=which))
    return said


_GROUP_NAMES = {LINES: tr("areas or lines"), PLACES: CONTROL_POINTS_FILE, DEPTHS: KNOWN_DEPTHS_FILE}


def _later_steps(step: Step, row: Mapping, rows: Mapping, states: Mapping[str, StepState]) -> List[str]:
    """Sentences on steps before this one that were run after it, are outdated, or are missing."""
    said = []
    for name in step.after:
        other = states[name]
        if name in rows and rows[name][RUN_LOG.step_number] > row[RUN_LOG.step_number]:
            said.append(tr("{step} was run after it.", step=STEPS[name].title))
        elif other.state == OUTDATED:
            said.append(tr("{step} is outdated.", step=STEPS[name].title))
    return said


def _changed_by_hand(step: Step, row: Mapping, survey_path: Path) -> List[str]:
    """Sentences on what a person changed: items and picks not yet taken up, or the penetrations."""
    if step.name == JOIN_ITEMS and edited_since(survey_path):
        return [tr("Items or picks were edited by hand since.")]
    if step.name in (CHECK_PENETRATIONS, WRITE_REPORT):
        known = json.loads(row[RUN_LOG.parameters] or "{}")
        if "file" in known and fingerprint_file(known["file"]) != known["fingerprint"]:
            return [tr("Changed since: {files}.", files=Path(known["file"]).name)]
    return []


def _findings_by_step(survey_path: Path) -> Dict[str, List[Finding]]:
    """Findings by the step that made them, told by where and what they are; what nothing tells apart belongs to reading."""
    of_speed = {
        sentence
        for _, row in read_layer(survey_path, WAVE_SPEEDS.name)
        for sentence in (row[WAVE_SPEEDS.warnings] or "").splitlines()
    }
    of_places = fingerprints.TABLES[PLACES]
    found: Dict[str, List[Finding]] = {}
    for finding in reading.read_findings(survey_path):
        table = finding.where.split(" ")[0]
        if finding.where == fitting.WHERE or table in of_places:
            step = FIT_AREAS
        elif finding.where in (settling.HAND, settling.JOINING):
            step = JOIN_ITEMS
        elif finding.text in of_speed or table == KNOWN_DEPTHS_FILE:
            step = ESTIMATE_SPEED
        else:
            step = READ_SURVEY
        found.setdefault(step, []).append(finding)
    return found
