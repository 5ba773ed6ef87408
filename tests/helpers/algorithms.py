"""How the tests run an algorithm, and stop it half way."""

from qgis.core import QgsApplication, QgsProcessingContext, QgsProcessingFeedback


class Log(QgsProcessingFeedback):
    """Keeps what a user would read; asks to stop once progress (per cent) has passed `stop_at`."""

    def __init__(self, stop_at=None):
        super().__init__(False)
        self.stop_at = stop_at
        self.lines = []
        self.warnings = []
        self.steps = []
        self.progressChanged.connect(self.steps.append)

    def isCanceled(self):
        return self.stop_at is not None and self.progress() >= self.stop_at

    def pushInfo(self, text):
        self.lines.append(text)

    def pushWarning(self, text):
        self.warnings.append(text)


def algorithm(name):
    """A fresh instance of the algorithm `inslab:name`."""
    return QgsApplication.processingRegistry().createAlgorithmById(f"inslab:{name}")


def complaint(name, parameters):
    """The sentences with which the algorithm refuses these values; empty if it takes them."""
    usable, sentences = algorithm(name).checkParameterValues(parameters, QgsProcessingContext())
    assert usable == (not sentences)
    return sentences


def parameters_of(name):
    """Parameter name to (type, default, optional?) as QGIS sees them."""
    owner = algorithm(name)  # its definitions live no longer than it does
    return {
        parameter.name(): (
            parameter.type(),
            parameter.defaultValue(),
            bool(parameter.flags() & parameter.Flag.FlagOptional),
        )
        for parameter in owner.parameterDefinitions()
    }


def outputs_of(name):
    """Names of all outputs."""
    owner = algorithm(name)
    return {output.name() for output in owner.outputDefinitions()}


def run(name, parameters, log=None):
    """Run through `processing.run`, as a script would; returns the outputs."""
    from qgis import processing

    return processing.run(f"inslab:{name}", parameters, feedback=log or Log())
