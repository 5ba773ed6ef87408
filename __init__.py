"""Inslab: grid scans of concrete become georeferenced depth slices and items in QGIS."""


def classFactory(iface):
    """QGIS calls this to get the plugin; `iface` is its QgisInterface (None in qgis_process)."""
    from qgis.core import QgsApplication

    from .processing.common import language

    language.use(QgsApplication.locale())  # before the rest is imported: its texts are translated then

    from .plugin.main import InslabPlugin

    return InslabPlugin(iface)
