"""What was made before a kind was known, with that kind in the table: run in a process of its own by `tests/test_a_new_kind.py`.

Arguments: a survey, its record, and a folder for results. Prints what became of them as JSON.
"""

import json
import sys
from pathlib import Path

from invented_kind import INVENTED  # before anything else is loaded

from inslab.processing.common.vocabulary.kinds import KINDS  # isort: skip
from inslab.processing.edits.hand_edits import edited_since, read_edits
from inslab.processing.penetrations.model import DEFAULT_RULES, Penetrations
from inslab.processing.record.history import as_known_on
from inslab.processing.record.open_store import open_store
from inslab.processing.record.query import Question
from inslab.processing.record.schema import OBSERVATIONS
from inslab.processing.record.verification import Verification
from inslab.processing.reports.survey_report import client_report
from inslab.processing.steps.checkpenetrations import check_penetrations_step
from inslab.processing.steps.joinitems import join_items_step
from inslab.processing.steps.queryrecord import query_record_step
from inslab.processing.steps.updaterecord import update_record_step
from inslab.processing.steps.verifyitem import verify_item_step
from inslab.processing.store.geopackage import read_layer

QUESTION = Question(level="Level 1")
COLUMN = f"p_{INVENTED.key}"


def main(survey: Path, record: str, folder: Path) -> dict:
    """The survey into its record again, an item verified as a strut, the record asked, holes checked."""
    store = open_store(record)
    first, _ = query_record_step(record, QUESTION)
    with store.session() as session:
        before = as_known_on(session)
        had_column = COLUMN in session._stored_columns(OBSERVATIONS)
    report, again = update_record_step(survey, record, "2031-07-01")
    _, third = update_record_step(survey, record, "2031-07-02")
    name = first.items[0]["item_id"]
    verification = Verification(name, "verified", "core", "2031-07-03", kind=INVENTED.key)
    _, verified = verify_item_step(record, verification)
    answer, sentences = query_record_step(record, QUESTION)
    with store.session() as session:
        known = as_known_on(session, "2031-06-15")
        now = as_known_on(session, "2031-07-03").tables == as_known_on(session).tables
    places = [place for place, _ in read_layer(survey.with_name("penetrations.gpkg"), "penetration_verdicts")]
    holes = Penetrations.upright(places, 0.020, 0.10, 0.003)
    planes, output = [("top", None)] * len(places), folder / "holes.gpkg"
    verdicts = check_penetrations_step(survey, holes, planes, [{}] * len(planes), {}, output, DEFAULT_RULES)
    return {
        "kinds": list(KINDS),
        "first": {row[COLUMN] for row in first.items} == {0.0} and not had_column,
        "same": report.is_same,
        "outside": again.outside + third.outside + verified.outside,
        "changed": dict(again.counts),
        "third": third.revision,
        "kept": {row["item_id"]: row[COLUMN] for row in before.rows("items")}
        == {row["item_id"]: row[COLUMN] for row in known.rows("items")},
        "replayed": now,
        "verified": [(row["kind"], row[COLUMN]) for row in answer.items if row["item_id"] == name],
        "others": [row["kind"] for row in answer.items if row["item_id"] != name],
        "were": [row["kind"] for row in first.items if row["item_id"] != name],
        "answer": sentences,
        "verdicts": [[one.verdict, one.governing_item, one.margin_m, one.touch_probability] for one in verdicts],
        "edits": [len(read_edits(survey).items), edited_since(survey)],
        "report": len(client_report(survey).parts) > 0,
        "joined": joined(survey),
    }


def joined(survey: Path) -> bool:
    """Joining the items again adds the column, with nothing in it, and leaves all else."""
    before = [row for _, row in read_layer(survey, "items")]
    join_items_step(survey)
    return [{**row, COLUMN: 0.0} for row in before] == [row for _, row in read_layer(survey, "items")]


if __name__ == "__main__":
    print(json.dumps(main(Path(sys.argv[1]), sys.argv[2], Path(sys.argv[3]))))
