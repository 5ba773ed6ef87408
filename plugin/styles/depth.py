"""The depth that a map shows: which band of the slices, and which items and picks belong to it.

The depth stands in variables of the project, so that a layout prints what the map shows. Symbols ask them by an expression:
a filter set on an open layer would make QGIS 3.22 lose its other connections to the same GeoPackage. Where QGIS has an elevation
control of its own (3.38 and newer) and it is used, the expressions follow it instead.
"""

from dataclasses import dataclass
from typing import Optional

from qgis.core import QgsExpressionContextUtils, QgsProject, QgsProperty, QgsSymbol

from ...processing.store.schema import ITEMS, PICKS

FROM, TO, OTHERS = "inslab_depth_from_m", "inslab_depth_to_m", "inslab_other_depths"
FAINT_PERCENT = 20
# Value of the variable: opacity in per cent of what lies at another depth.
OTHER_DEPTHS = {"shown": 100, "faint": FAINT_PERCENT, "hidden": 0}


@dataclass(frozen=True)
class DepthWindow:
    """Depths that a map shows, metres, and how it draws what lies elsewhere: a key of `OTHER_DEPTHS`."""

    from_m: float
    to_m: float
    others: str = "faint"

    @property
    def variables(self):
        """Values by the name of the variable."""
        return {FROM: self.from_m, TO: self.to_m, OTHERS: OTHER_DEPTHS[self.others]}


def _within(shallowest: str, deepest: str, sigma: str) -> str:
    """Expression: does the interval that holds the depth with 95 per cent meet the window? Unknown depths count as within."""
    top = f'("{shallowest}" - 1.96 * coalesce("{sigma}", 0)) <= coalesce(-1 * @map_z_range_lower, @{TO})'
    base = f'("{deepest}" + 1.96 * coalesce("{sigma}", 0)) >= coalesce(-1 * @map_z_range_upper, @{FROM})'
    return f"coalesce({top}, true) AND coalesce({base}, true)"


ITEM_WITHIN = _within(ITEMS.depth_min_m, ITEMS.depth_max_m, ITEMS.sigma_depth_m)
PICK_WITHIN = _within(PICKS.depth_m, PICKS.depth_m, PICKS.sigma_depth_m)


def fade_others(symbol: QgsSymbol, within: str) -> None:
    """Draw features for which the expression `within` is false as the project's variable says."""
    opacity = f"if({within}, 100, coalesce(@{OTHERS}, 100))"
    symbol.setDataDefinedProperty(QgsSymbol.Property.PropertyOpacity, QgsProperty.fromExpression(opacity))


def label_shown(within: str) -> QgsProperty:
    """Labels only of what is drawn in full."""
    return QgsProperty.fromExpression(f"({within}) OR coalesce(@{OTHERS}, 100) >= 100")


def set_window(project: QgsProject, window: Optional[DepthWindow]) -> None:
    """Make the window that of the project; None for all depths."""
    variables = window.variables if window else {}
    for name in (FROM, TO, OTHERS):
        if name in variables:
            QgsExpressionContextUtils.setProjectVariable(project, name, variables[name])
        else:
            QgsExpressionContextUtils.removeProjectVariable(project, name)


def window_of(project: QgsProject) -> Optional[DepthWindow]:
    """The window that a project was left with; None for all depths."""
    scope = QgsExpressionContextUtils.projectScope(project)
    from_m, to_m, percent = (scope.variable(name) for name in (FROM, TO, OTHERS))
    if from_m is None or to_m is None or percent is None:
        return None
    others = next((key for key, value in OTHER_DEPTHS.items() if value == int(percent)), "faint")
    return DepthWindow(float(from_m), float(to_m), others)
