"""The survey panel, driven as a user does: states, running, cancelling, findings, and a survey that changes under it."""

import shutil
from pathlib import Path

import pytest
from qgis.core import QgsProject
from qgis.PyQt.QtCore import QObject, Qt, pyqtSignal

from inslab.plugin.docks.desk import Desk
from inslab.plugin.docks.survey.runs import runs_of
from inslab.plugin.docks.survey.steps import FINDING_ROLE, STEP_ROLE
from inslab.plugin.project.layers import show_result
from inslab.processing.common.vocabulary.steps import CHECK_PENETRATIONS, STEPS
from inslab.processing.steps.shared.survey_state import DONE, NOT_DONE, OUTDATED, WARNINGS

RUN_MS = 120_000


@pytest.fixture
def panel(qgis_iface, qgis_new_project, qgis_processing, inslab_provider, qtbot):
    desk = Desk(qgis_iface)
    made = desk.panel("survey_panel")
    yield made
    desk.close()
    qtbot.waitUntil(lambda: not made.runner.is_running, timeout=RUN_MS)


@pytest.fixture
def result(processed, tmp_path):
    """Folder of a result of the small survey that a test may change."""
    outputs, _log = processed
    return Path(shutil.copytree(outputs["OUTPUT_FOLDER"], tmp_path / "result"))


@pytest.fixture
def settled(qtbot):
    """Waits until the panel knows how the survey stands."""

    def wait(panel):
        qtbot.waitUntil(lambda: not panel.is_looking, timeout=RUN_MS)
        return {one.step.name: one.state for one in panel.states}

    return wait


def entry(panel, step):
    items = (panel.controls.steps.topLevelItem(n) for n in range(panel.controls.steps.topLevelItemCount()))
    return next(item for item in items if item.data(0, STEP_ROLE) == step)


def choose(panel, step):
    panel.controls.steps.setCurrentItem(entry(panel, step))


def test_without_a_survey_nothing_can_be_run(panel):
    assert panel.states == []
    for button in (
        panel.controls.run_one,
        panel.controls.run_rest,
        panel.controls.stop,
        panel.controls.show_layers,
        panel.controls.show_solid,
    ):
        assert not button.isEnabled()
    assert panel.controls.set_up.isEnabled()


def test_a_new_survey_gets_a_place_for_its_result(panel, survey_copy, settled):
    panel.open_survey(survey_copy)
    assert panel.survey_path == survey_copy.with_name("survey-result") / "survey.gpkg"
    assert set(settled(panel).values()) == {NOT_DONE}
    assert panel.controls.run_rest.isEnabled()
    assert QgsProject.instance().readEntry("inslab", "survey_folder")[0] == str(survey_copy)


def test_a_finished_survey_is_shown_as_done(panel, small_survey, result, settled):
    panel.open_survey("", result)
    found = settled(panel)
    assert panel.controls.folder.filePath() == str(small_survey)  # as survey.gpkg says
    assert found.pop(CHECK_PENETRATIONS) == NOT_DONE
    assert set(found.values()) <= {DONE, WARNINGS}
    assert not panel.controls.run_rest.isEnabled()
    texts = [entry(panel, step.name).text(1) for step in STEPS.values()]
    assert all(texts)
    assert not any(entry(panel, step.name).icon(0).isNull() for step in STEPS.values())


def test_a_file_that_changes_is_noticed_by_itself(panel, survey_copy, result, settled, qtbot):
    panel.open_survey(survey_copy, result)
    assert OUTDATED not in settled(panel).values()
    points = survey_copy / "control_points.csv"
    points.write_text(points.read_text(encoding="utf-8").replace("0.002", "0.004"), encoding="utf-8")
    qtbot.waitUntil(lambda: panel.states and panel.states[1].state == OUTDATED, timeout=RUN_MS)
    assert "control_points.csv" in entry(panel, "fit areas").child(0).text(0)
    assert panel.controls.run_rest.isEnabled()


def test_one_step_is_run_in_the_background_and_its_layers_are_loaded(panel, survey_copy, tmp_path, settled, qtbot):
    panel.open_survey(survey_copy, tmp_path / "new")
    settled(panel)
    choose(panel, "read survey")
    with qtbot.waitSignal(panel.runner.finished, timeout=RUN_MS) as done:
        panel.controls.run_one.click()
        assert panel.runner.is_running  # it came back at once
        assert panel.controls.stop.isEnabled()
        assert not panel.controls.run_one.isEnabled()
        assert entry(panel, "read survey").text(1) == "running"
    assert done.args == [True]
    found = settled(panel)
    assert found["read survey"] in (DONE, WARNINGS)
    assert found["detect items"] == NOT_DONE
    assert "Read 2 scan areas" in panel.controls.log.toPlainText()
    assert any(layer.name() == "Scan areas" for layer in QgsProject.instance().mapLayers().values())


def test_the_rest_is_the_whole_chain_or_the_steps_that_are_left(small_survey, inslab_provider, tmp_path):
    path = tmp_path / "survey.gpkg"
    everything = [step.name for step in STEPS.values()]
    assert [run.algorithm for run in runs_of(everything, small_survey, path)] == ["inslab:processsurvey"]
    some = runs_of(["estimate wave speed", "depth slices", "detect items", "join items"], small_survey, path)
    assert [run.algorithm for run in some] == ["inslab:wavespeed", "inslab:depthslices", "inslab:detectitems"]
    assert some[1].parameters == {"SURVEY": str(path), "OUTPUT_FOLDER": str(tmp_path)}
    assert [run.algorithm for run in runs_of(["join items"], small_survey, path)] == ["inslab:joinitems"]
    assert runs_of(["check penetrations", "write report"], small_survey, path) == []


class Dialog(QObject):
    """In the place of Processing's dialog, which a test cannot click through."""

    algorithmFinished = pyqtSignal(bool, dict)

    def show(self):
        pass

    def close(self):
        pass


def test_penetrations_and_report_are_started_in_a_dialog(panel, result, settled, monkeypatch, qtbot):
    from qgis import processing

    from inslab.processing.steps.joinitems import join_items_step
    from inslab.processing.steps.shared.survey_state import note_step, result_parameters

    opened = []
    dialog = Dialog()
    monkeypatch.setattr(processing, "createAlgorithmDialog", lambda *arguments: opened.append(arguments) or dialog)
    join_items_step(result / "survey.gpkg")
    panel.open_survey("", result)
    assert settled(panel)["write report"] == OUTDATED
    for step in ("check penetrations", "write report"):
        choose(panel, step)
        panel.controls.run_one.click()
    assert [name for name, _ in opened] == ["inslab:checkpenetrations", "inslab:surveyreport"]
    assert opened[1][1] == {"SURVEY": str(result / "survey.gpkg"), "REPORT": str(result / "report.pdf")}
    assert not panel.runner.is_running
    (result / "report.pdf").write_bytes(b"%PDF")
    note_step(result / "survey.gpkg", "write report", result_parameters(result / "survey.gpkg", result / "report.pdf"))
    dialog.algorithmFinished.emit(True, {})
    qtbot.waitUntil(lambda: panel.states[-1].state == DONE, timeout=RUN_MS)


def test_the_dialog_is_given_the_planned_penetrations_and_never_the_verdicts(qgis_new_project):
    from qgis.core import QgsProject, QgsVectorLayer

    from inslab.plugin.docks.survey.runs import holes_for

    project = QgsProject.instance()
    assert holes_for(CHECK_PENETRATIONS, project) is None
    columns = "field=penetration_id:string&field=diameter_m:double&field=depth_m:double"
    for more in ("&field=verdict:string", "", ""):  # each new layer comes above those that are there
        project.addMapLayer(QgsVectorLayer(f"Point?{columns}{more}", f"planned{more}", "memory"))
    assert holes_for(CHECK_PENETRATIONS, project).name() == "planned"
    assert holes_for("write report", project).name() == "planned&field=verdict:string"
    project.layerTreeRoot().findLayers()[0].layer().setName("the upper one")
    assert holes_for(CHECK_PENETRATIONS, project).name() == "the upper one"


def test_what_is_outdated_is_run_and_then_up_to_date(panel, result, settled, qtbot):
    from inslab.processing.steps.fitareas import fit_areas_step

    fit_areas_step(result / "survey.gpkg")
    panel.open_survey("", result)
    assert settled(panel)["depth slices"] == OUTDATED
    with qtbot.waitSignal(panel.runner.finished, timeout=RUN_MS) as done:
        panel.controls.run_rest.click()
    assert done.args == [True]
    assert settled(panel)["depth slices"] in (DONE, WARNINGS)


def test_cancelling_leaves_the_result_as_it_was(panel, survey_copy, result, settled, qtbot):
    before = (result / "survey.gpkg").read_bytes()
    (survey_copy / "scan_areas.csv").write_bytes((survey_copy / "scan_areas.csv").read_bytes() + b"\n")
    panel.open_survey(survey_copy, result)
    settled(panel)
    with qtbot.waitSignal(panel.runner.finished, timeout=RUN_MS) as done:
        panel.controls.run_rest.click()
        panel.runner.progressed.connect(lambda percent: percent > 0 and panel.controls.stop.click())
    assert done.args == [False]
    assert "Cancelled" in panel.controls.log.toPlainText()
    assert (result / "survey.gpkg").read_bytes() == before
    assert not list(result.glob(".unfinished*"))
    settled(panel)
    assert panel.controls.run_rest.isEnabled()


def test_a_layer_in_editing_is_told_before_anything_runs(panel, result, settled):
    show_result(QgsProject.instance(), result / "survey.gpkg")
    panel.open_survey("", result)
    settled(panel)
    items = next(layer for layer in QgsProject.instance().mapLayers().values() if layer.name().startswith("Items"))
    items.startEditing()
    choose(panel, "join items")
    panel.controls.run_one.click()
    assert not panel.runner.is_running
    assert "stop editing" in panel.controls.log.toPlainText()
    items.rollBack()


def test_a_failure_is_a_sentence(panel, survey_copy, tmp_path, settled, qtbot):
    panel.open_survey(survey_copy, tmp_path / "new")
    settled(panel)
    (survey_copy / "scan_lines.csv").write_text("nothing\n", encoding="utf-8")
    choose(panel, "read survey")
    with qtbot.waitSignal(panel.runner.finished, timeout=RUN_MS) as done:
        panel.controls.run_one.click()
    assert done.args == [False]
    text = panel.controls.log.toPlainText()
    assert "scan_lines.csv lacks the columns" in text
    assert "Traceback" not in text


def test_a_click_on_a_finding_shows_its_area(panel, survey_copy, tmp_path, settled, qtbot):
    areas = survey_copy / "control_points.csv"
    areas.write_text(areas.read_text(encoding="utf-8") + "A2,P9,0.1,0.1,99,99,0.002\n", encoding="utf-8")
    panel.open_survey(survey_copy, tmp_path / "new")
    settled(panel)
    choose(panel, "read survey")
    with qtbot.waitSignal(panel.runner.finished, timeout=RUN_MS):
        panel.controls.run_one.click()
    settled(panel)
    panel.controls.steps.open_step("fit areas")
    parent = entry(panel, "fit areas")
    assert parent.text(1).startswith("to check")
    finding = next(parent.child(n) for n in range(parent.childCount()) if "P9" in parent.child(n).text(0))
    assert finding.data(0, FINDING_ROLE) is not None
    panel.widget().resize(300, 700)
    panel.show()
    parent.setExpanded(True)
    qtbot.waitUntil(
        lambda: panel.controls.steps.visualItemRect(finding).height() > 2 * panel.fontMetrics().height()
    )  # wrapped
    canvas = panel.iface.mapCanvas()
    canvas.setDestinationCrs(QgsProject.instance().crs())
    panel.controls.steps.itemClicked.emit(finding, 0)
    assert canvas.extent().contains(_centre_of("A2"))
    assert not canvas.extent().contains(_centre_of("A1"))


def _centre_of(area_id):
    import surveys
    from qgis.core import QgsPointXY

    return QgsPointXY(*surveys.to_site(area_id, (0.4, 0.3)))


def test_another_project_brings_its_own_survey(panel, survey_copy, result, settled, tmp_path):
    panel.open_survey(survey_copy, result)
    settled(panel)
    project = QgsProject.instance()
    project.write(str(tmp_path / "job.qgz"))
    panel.open_survey("", "")
    assert project.read(str(tmp_path / "job.qgz"))
    settled(panel)
    assert panel.controls.folder.filePath() == str(survey_copy)
    assert panel.survey_path == result / "survey.gpkg"


def test_unloading_in_the_middle_of_a_run_loses_nothing(
    qgis_iface, qgis_new_project, qgis_processing, inslab_provider, survey_copy, tmp_path, qtbot
):
    desk = Desk(qgis_iface)
    panel = desk.panel("survey_panel")
    panel.open_survey(survey_copy, tmp_path / "new")
    qtbot.waitUntil(lambda: not panel.is_looking, timeout=RUN_MS)
    panel.controls.run_rest.click()
    qtbot.waitUntil(lambda: panel.controls.progress.value() > 0 or not panel.runner.is_running, timeout=RUN_MS)
    runner = panel.runner
    task = runner._task
    desk.close()
    qtbot.waitUntil(lambda: task is None or task.status() in (task.TaskStatus.Complete, task.TaskStatus.Terminated))
    assert not list((tmp_path / "new").glob("*.gpkg"))


def test_every_control_says_what_it_is_for(panel):
    from qgis.PyQt.QtWidgets import QPlainTextEdit, QProgressBar, QToolButton, QTreeWidget

    for kind in (QToolButton, QTreeWidget, QPlainTextEdit, QProgressBar):
        for widget in panel.widget().findChildren(kind):
            parents = (widget.parent(), widget.parent().parent())
            assert widget.toolTip() or any(
                parent in (panel.controls.folder, panel.controls.result) for parent in parents
            ), widget
    assert panel.controls.folder.toolTip()
    assert panel.controls.steps.contextMenuPolicy() == Qt.ContextMenuPolicy.CustomContextMenu
