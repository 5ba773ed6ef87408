"""What a run was made from: a fingerprint of each file of the survey folder, by content and never by date.

The files fall into groups, because not every step looks at all of them: a control point that moves changes no wave speed.
"""

import hashlib
from pathlib import Path
from typing import Callable, Dict, Iterator, List, Mapping, Optional

from ..common.errors import SurveyError
from ..common.monitor import Monitor
from ..common.vocabulary.steps import DEPTHS, LINES, PLACES
from ..site.observation_tables import DIRECTIONS_FILE, DISTANCES_FILE, TIES_FILE
from ..site.walls import WALLS_FILE
from ..survey.fingerprint import MISSING, Remembered, fingerprint_file
from ..survey.tables import AREAS_FILE, CONTROL_POINTS_FILE, KNOWN_DEPTHS_FILE, LINES_FILE, read_lines
from .geopackage import read_layer
from .layer import Layer, layer_of
from .schema import INPUT_FILES

TABLES = {
    LINES: (AREAS_FILE, LINES_FILE),
    PLACES: (CONTROL_POINTS_FILE, TIES_FILE, DIRECTIONS_FILE, DISTANCES_FILE, WALLS_FILE),
    DEPTHS: (KNOWN_DEPTHS_FILE,),
}

Inputs = Mapping[str, Mapping[str, str]]


def survey_inputs(folder, remembered: Optional[Remembered] = None, monitor: Monitor = Monitor()) -> Dict[str, Dict]:
    """Group to file (as seen from `folder`, with slashes) to fingerprint, for all that a run reads from a survey folder.

    Optional tables that are not there are left out; a line's file that is not there counts as `MISSING`.
    """
    folder = Path(folder)
    files = [(group, name) for group, names in TABLES.items() for name in names if (folder / name).is_file()]
    files += [(LINES, name) for name in _line_files(folder)]
    found: Dict[str, Dict[str, str]] = {group: {} for group in TABLES}
    for number, (group, name) in enumerate(files):
        monitor.step(number / len(files))
        found[group][name] = fingerprint_file(folder / name, remembered)
    return found


def _line_files(folder: Path) -> Iterator[str]:
    try:
        rows = read_lines(folder, [])
    except SurveyError:
        return  # the table's own fingerprint stands for it
    yield from sorted({_name_of(row.values["file"]) for row in rows})


def _name_of(file: str) -> str:
    return file.replace("\\", "/")


def unchanged_lines(before: Inputs, now: Inputs) -> Callable[[str], bool]:
    """Whether the file that a row of the table of lines names is the one that was read; of other tables none counts as such."""
    earlier, later = before[LINES], now[LINES]
    same_tables = all(earlier.get(name) == later.get(name) for name in TABLES[LINES])

    def unchanged(file: str) -> bool:
        mark = later.get(_name_of(file), MISSING)
        return same_tables and mark != MISSING and earlier.get(_name_of(file)) == mark

    return unchanged


def summary(inputs: Inputs) -> Dict[str, str]:
    """One fingerprint for each group of files."""
    return {
        group: hashlib.blake2b(repr(sorted(files.items())).encode(), digest_size=16).hexdigest()
        for group, files in inputs.items()
    }


def input_layer(inputs: Inputs) -> Layer:
    """`input_files`: the files that the latest step read, with their fingerprints."""
    rows = [
        (None, {INPUT_FILES.content: group, INPUT_FILES.file: name, INPUT_FILES.fingerprint: mark})
        for group, files in inputs.items()
        for name, mark in sorted(files.items())
    ]
    return layer_of(INPUT_FILES, rows)


def read_inputs(survey_path) -> Dict[str, Dict[str, str]]:
    """The table `input_files` of a survey, in the form of `survey_inputs`; files of a group that no step reads do not count."""
    found: Dict[str, Dict[str, str]] = {group: {} for group in TABLES}
    for _, row in read_layer(survey_path, INPUT_FILES.name):
        if row[INPUT_FILES.content] in found:
            found[row[INPUT_FILES.content]][row[INPUT_FILES.file]] = row[INPUT_FILES.fingerprint]
    return found


def changed_files(before: Inputs, now: Inputs, group: str) -> List[str]:
    """Files of a group that were changed, added or taken away, in order of their names."""
    earlier, later = before.get(group, {}), now.get(group, {})
    return sorted(name for name in {*earlier, *later} if earlier.get(name) != later.get(name))
