"""The parameters that all algorithms with depth slices share."""

from ...processing.area.settings import RunSettings
from ...processing.common.language import tr
from .base import positive_number

DEPTH_STEP, MAX_DEPTH, CELL, SAMPLE_INTERVAL = "DEPTH_STEP", "MAX_DEPTH", "CELL", "SAMPLE_INTERVAL"
HELP = {
    DEPTH_STEP: tr("Thickness of one depth slice, metres."),
    MAX_DEPTH: tr(
        "Depth of the deepest slice below the scanned surface, metres. Left empty: the depth down to which the data "
        "contain echoes."
    ),
    CELL: tr("Cell size of the slices in plan, metres."),
}
SAMPLE_INTERVAL_HELP = {
    SAMPLE_INTERVAL: tr(
        "Time between two samples, nanoseconds. Left empty, the value in each line file is used; set it where the "
        "report says that this value cannot be right."
    )
}


def slice_parameters():
    """The parameters `DEPTH_STEP`, `MAX_DEPTH` and `CELL`."""
    return [
        positive_number(DEPTH_STEP, tr("Thickness of a slice (m)"), RunSettings.depth_step_m, 0.001, 0.1),
        positive_number(MAX_DEPTH, tr("Maximum depth (m)"), None, 0.02, 3.0, optional=True),
        positive_number(CELL, tr("Cell size (m)"), RunSettings.cell_m, 0.001, 0.1),
    ]


def sample_interval_parameter():
    """The parameter `SAMPLE_INTERVAL`, hidden among the advanced ones."""
    return positive_number(
        SAMPLE_INTERVAL, tr("Sample interval (ns)"), None, 0.0001, 10.0, optional=True, advanced=True
    )


def run_settings(algorithm, parameters, context) -> RunSettings:
    """The settings that the user gave; what `algorithm` has no parameter for keeps its default."""

    def value(name):
        given = algorithm.parameterDefinition(name) is not None and parameters.get(name) is not None
        return algorithm.parameterAsDouble(parameters, name, context) if given else None

    given = {
        "depth_step_m": value(DEPTH_STEP),
        "max_depth_m": value(MAX_DEPTH),
        "cell_m": value(CELL),
        "sample_interval_ns": value(SAMPLE_INTERVAL),
    }
    return RunSettings(**{name: number for name, number in given.items() if number is not None})
