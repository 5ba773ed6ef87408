"""Items and picks at the depth that the map shows: what the symbols' expressions say, and what is drawn."""

import pytest
from qgis.core import (
    QgsExpression,
    QgsExpressionContext,
    QgsExpressionContextScope,
    QgsExpressionContextUtils,
    QgsProject,
)

from inslab.plugin.styles import depth


@pytest.fixture
def project(qgis_app):
    project = QgsProject.instance()
    project.clear()
    yield project
    project.clear()


def within(project, shallowest, deepest, sigma=0.002, **variables):
    text = depth.ITEM_WITHIN
    for name, value in (("depth_min_m", shallowest), ("depth_max_m", deepest), ("sigma_depth_m", sigma)):
        text = text.replace(f'"{name}"', "NULL" if value is None else str(value))
    own = QgsExpressionContextScope()
    for name, value in variables.items():
        own.setVariable(name, value)
    context = QgsExpressionContext()
    context.appendScopes([QgsExpressionContextUtils.projectScope(project), own])
    return bool(QgsExpression(text).evaluate(context))


def test_an_item_belongs_to_the_window_that_its_95_per_cent_interval_meets(project):
    depth.set_window(project, depth.DepthWindow(0.05, 0.06))
    assert within(project, 0.055, 0.055)
    assert within(project, 0.02, 0.09)  # dips through it
    # 1.96 sigma is the two-sided 95 per cent point of the normal distribution (any table of it).
    assert within(project, 0.0635, 0.0635)
    assert not within(project, 0.0645, 0.0645)
    assert within(project, 0.0465, 0.0465)
    assert not within(project, 0.0455, 0.0455)


def test_what_has_no_depth_is_never_left_out(project):
    depth.set_window(project, depth.DepthWindow(0.05, 0.06))
    assert within(project, None, None)
    assert within(project, 0.055, 0.055, None)


def test_without_a_window_everything_belongs(project):
    assert within(project, 0.3, 0.3)
    depth.set_window(project, depth.DepthWindow(0.05, 0.06))
    assert not within(project, 0.3, 0.3)
    depth.set_window(project, None)
    assert within(project, 0.3, 0.3)


def test_the_elevation_control_of_qgis_goes_first(project):
    """Its variables are heights, so negative, and come from the map (QGIS 3.38 and newer)."""
    depth.set_window(project, depth.DepthWindow(0.05, 0.06))
    heights = {"map_z_range_lower": -0.31, "map_z_range_upper": -0.29}
    assert within(project, 0.3, 0.3, **heights)
    assert not within(project, 0.055, 0.055, **heights)
