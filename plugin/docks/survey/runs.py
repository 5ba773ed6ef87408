"""Running steps of a survey in the background, one after the other, with progress and cancelling."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Dict, List, Optional, Sequence

from qgis.core import (
    QgsApplication,
    QgsProcessingAlgRunnerTask,
    QgsProcessingContext,
    QgsProcessingFeedback,
    QgsProject,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QObject, pyqtSignal

from ....processing.common.language import tr
from ....processing.common.vocabulary.steps import (
    CHECK_PENETRATIONS,
    DEPTH_SLICES,
    DETECT_ITEMS,
    JOIN_ITEMS,
    READ_SURVEY,
    STEPS,
    WRITE_REPORT,
)
from ....processing.steps.shared.survey_run import REPORT_FILE
from ....processing.steps.shared.verdict_layers import VERDICTS_FILE
from ....processing.store.schema import PENETRATION_VERDICTS

WAIT_MS = 10_000  # for a cancelled run to let go when the plugin is unloaded
# Those parameters of a step's algorithm that hold the survey's paths.
PATHS = {
    READ_SURVEY: ("SURVEY_FOLDER", "SURVEY", "REPORT"),
    DEPTH_SLICES: ("SURVEY", "OUTPUT_FOLDER"),
    CHECK_PENETRATIONS: ("SURVEY", "OUTPUT"),
    WRITE_REPORT: ("SURVEY", "REPORT"),
}
SURVEY_ALONE = ("SURVEY",)  # of the other steps
# What a person must say more about first: the planned holes, the cover of a report.
BY_DIALOG = (CHECK_PENETRATIONS, WRITE_REPORT)
PLANNED_COLUMNS = (PENETRATION_VERDICTS.penetration_id, PENETRATION_VERDICTS.diameter_m, PENETRATION_VERDICTS.depth_m)
WHOLE_CHAIN = ("processsurvey", ("SURVEY_FOLDER", "OUTPUT_FOLDER"))


@dataclass(frozen=True)
class Run:
    """One algorithm to be run, and its parameters; `step` is the name of the step that it does, empty for the whole chain."""

    step: str
    title: str
    algorithm: str
    parameters: Dict[str, object] = field(default_factory=dict)


def can_run(step: str) -> bool:
    """Is there an algorithm for the step?"""
    return QgsApplication.processingRegistry().algorithmById(f"inslab:{STEPS[step].algorithm}") is not None


def run_of(step: str, folder, survey_path) -> Run:
    """One step by itself."""
    parameters = _parameters(PATHS.get(step, SURVEY_ALONE), folder, survey_path)
    if step == WRITE_REPORT:
        parameters["REPORT"] = str(Path(parameters["REPORT"]).with_suffix(".pdf"))
    return Run(step, STEPS[step].title, f"inslab:{STEPS[step].algorithm}", parameters)


def holes_for(step: str, project: QgsProject) -> Optional[QgsVectorLayer]:
    """The first layer in the layer tree that the dialog of a step is to propose: planned penetrations to be checked, verdicts to
    be reported.

    A dialog left to itself proposes whatever point layer comes first: after one check those are the verdicts, with the old places.
    """
    for node in project.layerTreeRoot().findLayers():
        layer = node.layer()
        if isinstance(layer, QgsVectorLayer) and layer.isValid():
            names = {field.name() for field in layer.fields()}
            if names.issuperset(PLANNED_COLUMNS) and (PENETRATION_VERDICTS.verdict in names) == (step == WRITE_REPORT):
                return layer
    return None


def runs_of(steps: Sequence[str], folder, survey_path) -> List[Run]:
    """What to run for several steps: the whole chain in one go where the survey must be read, else each step.

    Detecting items joins them as well. Steps that are started in a dialog are left to the user.
    """
    if READ_SURVEY in steps:
        name, wanted = WHOLE_CHAIN
        return [Run("", tr("The whole chain"), f"inslab:{name}", _parameters(wanted, folder, survey_path))]
    left_out = {*BY_DIALOG, *([JOIN_ITEMS] if DETECT_ITEMS in steps else [])}
    return [run_of(step, folder, survey_path) for step in steps if step not in left_out and can_run(step)]


def _parameters(wanted: Sequence[str], folder, survey_path) -> Dict[str, object]:
    result = Path(survey_path).parent
    known = {
        "SURVEY_FOLDER": str(folder),
        "SURVEY": str(survey_path),
        "OUTPUT_FOLDER": str(result),
        "OUTPUT": str(result / VERDICTS_FILE),
        "REPORT": str(result / REPORT_FILE),
    }
    return {name: known[name] for name in wanted}


class _Feedback(QgsProcessingFeedback):
    """Passes what a run says on as a signal, which Qt brings from the run's thread to that of the window."""

    said = pyqtSignal(str, str)  # kind (note, warning, error), sentence

    def __init__(self):
        super().__init__(False)

    def pushInfo(self, text):
        self.said.emit("note", text)

    def pushWarning(self, text):
        self.said.emit("warning", text)

    def reportError(self, text, fatalError=False):
        self.said.emit("error", text)


class SurveyRunner(QObject):
    """Runs algorithms one after the other as background tasks.

    Signals: `said` (kind and sentence), `progressed` (per cent of the present run), `started` (name and title of the step),
    `finished` (did all of them succeed?), `stepped` after each run that succeeded.
    """

    said = pyqtSignal(str, str)
    progressed = pyqtSignal(float)
    started = pyqtSignal(str, str)
    stepped = pyqtSignal()
    finished = pyqtSignal(bool)

    def __init__(self, parent=None):
        super().__init__(parent)
        self._waiting: List[Run] = []
        self._task: Optional[QgsProcessingAlgRunnerTask] = None
        self._kept = ()  # what the task uses and does not own

    @property
    def is_running(self) -> bool:
        return self._task is not None

    def problems(self, runs: Sequence[Run]) -> List[str]:
        """Sentences that say why these runs cannot be started; empty where they can."""
        if self.is_running:
            return [tr("A step is running already; wait for it, or cancel it.")]
        said = []
        for run in runs[:1]:  # later ones are asked when it is their turn: what they need may not be there yet
            said += _problems(run)
        return said

    def start(self, runs: Sequence[Run]) -> List[str]:
        """Starts the runs and returns at once; sentences where it cannot."""
        said = self.problems(runs)
        if not said and runs:
            self._waiting = list(runs)
            self._next()
        return said

    def cancel(self) -> None:
        """Stops the present run and forgets those that wait; what earlier runs wrote stays."""
        self._waiting = []
        if self._task is not None:
            self._task.cancel()

    def close(self) -> None:
        """Cancels, and waits until the run has let go of its files."""
        task = self._task
        self.cancel()
        if task is not None:
            task.waitForFinished(WAIT_MS)

    def _next(self) -> None:
        run = self._waiting.pop(0)
        said = _problems(run)
        if said:
            for sentence in said:
                self.said.emit("error", sentence)
            self._stop(False)
            return
        algorithm = QgsApplication.processingRegistry().createAlgorithmById(run.algorithm)
        context, feedback = QgsProcessingContext(), _Feedback()
        feedback.said.connect(self._hear)
        feedback.progressChanged.connect(self.progressed)
        self._task = QgsProcessingAlgRunnerTask(algorithm, run.parameters, context, feedback)
        self._kept = (algorithm, context, feedback)
        self._task.executed.connect(self._executed)
        self.started.emit(run.step, run.title)
        self.progressed.emit(0.0)
        QgsApplication.taskManager().addTask(self._task)

    def _hear(self, kind: str, sentence: str) -> None:
        self.said.emit(kind, sentence)

    def _executed(self, succeeded: bool, _results) -> None:
        cancelled = self._kept[2].isCanceled()
        if cancelled:
            self.said.emit("note", tr("Cancelled; earlier results are as they were."))
        elif succeeded:
            self.stepped.emit()
        if succeeded and not cancelled and self._waiting:
            self._task = None
            self._next()
        else:
            self._stop(succeeded and not cancelled)

    def _stop(self, succeeded: bool) -> None:
        self._waiting, self._task = [], None
        self.finished.emit(succeeded)


def _problems(run: Run) -> List[str]:
    algorithm = QgsApplication.processingRegistry().createAlgorithmById(run.algorithm)
    if algorithm is None:
        return [tr("This version has no step '{title}'.", title=run.title)]
    possible, sentence = algorithm.canExecute()
    if not possible:
        return [sentence]
    usable, sentence = algorithm.checkParameterValues(run.parameters, QgsProcessingContext())
    return [] if usable else [sentence]
