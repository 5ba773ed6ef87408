"""Everything that knows kinds, with one more in the table: run in a process of its own by `tests/test_a_new_kind.py`.

Nothing but the table of kinds is told of it, before anything else is loaded. What detection would find is stood in for.
Prints what became of it as JSON.
"""

import json
import os
import sys
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS), str(TESTS / "helpers")]

import conftest  # noqa: F401, E402 - makes the package importable
import numpy as np  # noqa: E402
import pytest  # noqa: E402

from inslab.processing.common.language import trn  # noqa: E402
from inslab.processing.common.vocabulary import kinds  # noqa: E402

INVENTED = kinds.Kind(
    key="strut",
    word="strut",
    title="Strut",
    counted=lambda count: trn("{count} strut", "{count} struts", count),
    code="STRUT",
    colour="#56b4e9",
    colour_index=4,
    on_map=kinds.Stroke(1.1, (4.0, 2.0)),
    in_drawing=kinds.Stroke(0.7, (80, 20)),
    drawn_diameter_m=0.033,
    keep_out_m=0.123,
    smallest_diameter_m=0.020,
    largest_diameter_m=0.050,
)
others = dict(kinds.KINDS)
kinds.KINDS.clear()
unknown = others.pop(kinds.UNKNOWN_KIND)
kinds.KINDS.update({**others, INVENTED.key: INVENTED, unknown.key: unknown})


def processing(folder: Path) -> dict:
    """A run with a strut in each area, and what is made of its result."""
    import stand_ins

    from inslab.processing.common.vocabulary.steps import STEPS
    from inslab.processing.penetrations.model import DEFAULT_RULES, Penetrations
    from inslab.processing.record.query import Question
    from inslab.processing.reports.page import paper_html
    from inslab.processing.reports.survey_report import client_report
    from inslab.processing.steps.checkpenetrations import check_penetrations_step
    from inslab.processing.steps.exportdrawing import export_drawing_step
    from inslab.processing.steps.processsurvey import process_survey_step
    from inslab.processing.steps.queryrecord import query_record_step
    from inslab.processing.steps.shared.survey_state import read_states
    from inslab.processing.steps.updaterecord import update_record_step
    from inslab.processing.store.geopackage import read_layer
    from inslab.processing.views.solids import write_solids

    stand_ins.KINDS = {**dict.fromkeys(kinds.KINDS, 0.02), INVENTED.key: 0.9}
    survey_folder = stand_ins.write_survey(folder / "survey")
    with pytest.MonkeyPatch.context() as patch:
        stand_ins.stand_in(patch)
        path = process_survey_step(survey_folder, folder / "out").survey_path
    items = [row for _, row in read_layer(path, "items")]
    hole = Penetrations.upright(np.array([[10.2, 20.2]]), 0.02, 0.1, 0.002)  # 0.1 m beside the strut
    (verdict,) = check_penetrations_step(path, hole, [("top", "L1")], [{}], {}, folder / "holes.gpkg", DEFAULT_RULES)
    files = {name: folder / name for name in ("plan.dxf", "plan.gpkg", "points.csv", "answer.html")}
    export_drawing_step(
        path,
        level="L1",
        dxf_path=files["plan.dxf"],
        geopackage_path=files["plan.gpkg"],
        points_path=files["points.csv"],
    )
    record = str(folder / "record.gpkg")
    update_record_step(path, record)
    _answer, sentences = query_record_step(record, Question(), None, files["answer.html"])
    solids = write_solids(path)
    return {
        "kinds": [row["kind"] for row in items],
        "share": items[0]["p_strut"],
        "reason": verdict.reason,
        "verdict": verdict.verdict,
        "dxf": str(files["plan.dxf"]),
        "points": files["points.csv"].read_text(encoding="utf-8"),
        "read_me": (folder / "points-read-me.txt").read_text(encoding="utf-8"),
        "report": (folder / "out" / "report.html").read_text(encoding="utf-8"),
        "client": paper_html(client_report(path), lambda sheet: b""),
        "record": [row["kind"] for _, row in read_layer(record, "items")],
        "answer": [*sentences, files["answer.html"].read_text(encoding="utf-8")],
        "drawn_m": {row["drawn_diameter_m"] for _, row in read_layer(solids, "item_bodies")}.pop(),
        "steps": [one.step.name for one in read_states(path)] == list(STEPS),
    }


def plugin() -> dict:
    """Its looks on the map and in space, and the algorithms that list kinds."""
    from qgis.core import QgsApplication, QgsVectorLayer

    application = QgsApplication([], False)
    application.initQgis()
    from inslab.plugin.provider import InslabProvider
    from inslab.plugin.styles import editing, items, solids

    layer = QgsVectorLayer("LineStringZ?field=kind:string&field=status:string&field=flag:string", "", "memory")
    items.style_items(layer)
    editing.prepare_items(layer, "L1", "top")
    rules = {rule.label(): rule for rule in layer.renderer().rootRule().children()}
    line = rules["Strut"].symbol().symbolLayers()[-1]
    choices = layer.editorWidgetSetup(layer.fields().indexOf("kind")).config()["map"]
    provider = InslabProvider()
    QgsApplication.processingRegistry().addProvider(provider)
    check, export, verify, detect = (
        provider.algorithm(name) for name in ("checkpenetrations", "exportdrawing", "verifyitem", "detectitems")
    )
    return {
        "rule": rules["Strut"].filterExpression(),
        "otherwise": rules["Kind unknown"].filterExpression(),
        "line": [line.color().name(), line.width(), list(line.customDashVector())],
        "body": solids.item_look("strut")[0],
        "choices": [value for entry in choices for value in entry.values()],
        "keep_out": check.parameterDefinition("KEEP_OUT").defaultValue(),
        "exported": export.parameterDefinition("KINDS").options(),
        "verified": verify.parameterDefinition("KIND").options(),
        "outputs": [output.name() for output in detect.outputDefinitions()],
    }


if __name__ == "__main__":
    print(json.dumps({"processing": processing(Path(sys.argv[1])), "plugin": plugin()}))
    sys.stdout.flush()
    os._exit(0)  # QGIS takes its time to leave, and some versions crash over it
