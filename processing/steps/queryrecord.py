"""What a record says of a place."""

from pathlib import Path
from typing import List, Tuple

from ..common.monitor import Monitor
from ..record.history import as_known_on, latest_date
from ..record.open_store import open_store
from ..record.query import Answer, Question, ask
from ..reports.record_answer import answer_layers, answer_page, answer_sentences
from ..store.geopackage import write_geopackage
from ..store.publish import write_text
from .shared.records import check_level, read_about


def query_record_step(
    record: str, question: Question, output_path=None, report_path=None, monitor: Monitor = Monitor()
) -> Tuple[Answer, List[str]]:
    """What the record says of a place, as known on a date: its rows, and the answer in sentences.

    `output_path` (GeoPackage) gets the layers items, verifications, penetrations, coverage and unknown_ground, `report_path` an
    HTML page; existing files are replaced. Nothing in the record changes.
    """
    store = open_store(record)
    with store.session() as session:
        check_level(session, question.level)
        book = as_known_on(session, question.known_on)
        as_of = question.known_on or latest_date(session)
        crs_wkt = read_about(session)["crs_wkt"]
    monitor.step(0.3)
    answer = ask(book, question, as_of)
    monitor.step(0.8)
    sentences = answer_sentences(answer)
    if output_path:
        write_geopackage(output_path, answer_layers(answer), crs_wkt)
    if report_path:
        write_text(Path(report_path), answer_page(answer, store.name))
    for sentence in sentences:
        monitor.log(sentence)
    return answer, sentences
