"""What QGIS does with a layer once it has loaded it: give it its style and the cautions that go with it."""

from qgis.core import QgsProcessingLayerPostProcessorInterface, QgsProject

from ...processing.common import cautions


class LayerStyler(QgsProcessingLayerPostProcessorInterface):
    """Styles one layer, and takes away those that an earlier run left of the same file: they would go on showing the old rows."""

    _kept = []  # QGIS holds no reference: without ours it would be gone before its turn

    def __init__(self, style):
        super().__init__()
        self.style = style
        self._kept.append(self)

    def postProcessLayer(self, layer, context, feedback):
        project = context.project() or QgsProject.instance()
        for other in list(project.mapLayers().values()):
            if other.source() == layer.source() and other.id() != layer.id():
                project.removeMapLayer(other.id())
        if layer.providerType() == "ogr":
            layer.dataProvider().reloadData()  # it may have been opened on a connection to the file that was replaced
        self.style(layer)
        metadata = layer.metadata()
        metadata.setAbstract(cautions.SHORT)
        layer.setMetadata(metadata)
        layer.triggerRepaint()


def style_when_loaded(context, destination: str, title: str, style) -> None:
    """Have the layer of a destination parameter named and styled, if QGIS is going to load it at all."""
    if not context.willLoadLayerOnCompletion(destination):
        return
    details = context.layerToLoadOnCompletionDetails(destination)
    details.name = title
    details.setPostProcessor(LayerStyler(style))
