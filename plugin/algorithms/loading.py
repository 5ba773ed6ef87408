"""What QGIS does with a layer once it has loaded it: give it its style and the cautions that go with it."""

from qgis.core import QgsProcessingLayerPostProcessorInterface

from ...processing import cautions


class LayerStyler(QgsProcessingLayerPostProcessorInterface):
    """Styles one layer."""

    _kept = []  # QGIS holds no reference: without ours it would be gone before its turn

    def __init__(self, style):
        super().__init__()
        self.style = style
        self._kept.append(self)

    def postProcessLayer(self, layer, context, feedback):
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
