"""The plugin's entry: it adds the Processing provider, in QGIS and in qgis_process alike."""

from qgis.core import QgsApplication

from .provider import InslabProvider


class InslabPlugin:
    """What `classFactory` hands to QGIS."""

    def __init__(self, iface):
        self.iface = iface
        self.provider = None

    def initProcessing(self):
        """Called by QGIS and, instead of `initGui`, by qgis_process."""
        self.provider = InslabProvider()
        QgsApplication.processingRegistry().addProvider(self.provider)

    def initGui(self):
        self.initProcessing()

    def unload(self):
        QgsApplication.processingRegistry().removeProvider(self.provider)
        self.provider = None
