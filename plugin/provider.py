"""The Processing provider `inslab`."""

from pathlib import Path

from qgis.core import QgsProcessingProvider
from qgis.PyQt.QtGui import QIcon

from ..processing.common.language import tr
from .algorithms.checkpenetrations import CheckPenetrations
from .algorithms.clearspace import ClearSpaceMap
from .algorithms.depthslices import DepthSlices
from .algorithms.detectitems import DetectItems
from .algorithms.drillsheet import DrillSheet
from .algorithms.exportdrawing import ExportDrawing
from .algorithms.fitareas import FitAreas
from .algorithms.fitdrawing import FitDrawing
from .algorithms.joinitems import JoinItems
from .algorithms.placepenetrations import PlacePenetrations
from .algorithms.processsurvey import ProcessSurvey
from .algorithms.queryrecord import QueryRecord
from .algorithms.radargrams import DrawRadargrams
from .algorithms.readsurvey import ReadSurvey
from .algorithms.routechase import RouteChase
from .algorithms.sitegrid import DefineSiteGrid
from .algorithms.surveyreport import SurveyReport
from .algorithms.updaterecord import UpdateRecord
from .algorithms.verifyitem import VerifyItem
from .algorithms.wavespeed import EstimateWaveSpeed
from .algorithms.withdrawverification import WithdrawVerification

ICONS = Path(__file__).parent / "icons"
ALGORITHMS = (
    ProcessSurvey,
    ReadSurvey,
    FitAreas,
    DefineSiteGrid,
    FitDrawing,
    EstimateWaveSpeed,
    DepthSlices,
    DrawRadargrams,
    DetectItems,
    JoinItems,
    CheckPenetrations,
    ClearSpaceMap,
    PlacePenetrations,
    RouteChase,
    DrillSheet,
    UpdateRecord,
    VerifyItem,
    WithdrawVerification,
    QueryRecord,
    ExportDrawing,
    SurveyReport,
)


class InslabProvider(QgsProcessingProvider):
    """All algorithms of the plugin; the id never changes, because models and scripts name it."""

    def loadAlgorithms(self):
        for algorithm in ALGORITHMS:
            self.addAlgorithm(algorithm())

    def id(self):
        return "inslab"

    def name(self):
        return "Inslab"

    def longName(self):
        return tr("Inslab: what is cast into concrete")

    def icon(self):
        return QIcon(str(ICONS / "inslab.svg"))

    def svgIconPath(self):
        return str(ICONS / "inslab.svg")
