"""The cautions that go with every result: report, layer descriptions and whatever else is handed over."""

from .language import tr

DETECTION = tr("Scanning does not guarantee detection: objects may exist that this survey did not find.")
UNKNOWN = tr(
    "What was not scanned, lies deeper than the stated depth, is hidden below a dense mat or has no position "
    "on the site grid is unknown, never clear."
)
SIZE = tr("The size of a bar, tendon or conduit is not measured.")
UNCERTAINTY = tr(
    "Positions and depths are estimates with the stated 1-sigma uncertainty; depths depend on the estimated wave "
    "speed and are measured from the scanned surface to the top of the object."
)
KIND = tr("The kind of an item is an interpretation of its echoes, not an observation of the object.")
DECISION = tr(
    "Whether and where to drill, core or cut is decided by the responsible engineer under local codes; where "
    "it matters, verify by exposure or by a second method, and isolate live services."
)

ALL = (DETECTION, UNKNOWN, UNCERTAINTY, SIZE, KIND, DECISION)
SHORT = " ".join((DETECTION, UNKNOWN, SIZE, DECISION))
