"""Plans: scale, extent, layers, arrows."""

import grounds
import numpy as np
import pytest

from inslab.processing.reports.content import MapSheet
from inslab.processing.site.crs import GridTie, tied_crs_wkt
from inslab.processing.store.coordinate_system import restamp
from inslab.processing.store.schema import CRS_KEY

HOLES = [((1.1, 1.0), {"penetration_id": "P1", "diameter_m": 0.1, "verdict": "hits"})]


@pytest.fixture
def survey(tmp_path):
    return grounds.write_survey(tmp_path / "survey.gpkg")


def drawn(survey, width, height, holes=(), **changed):
    """A drawer, its sheet around the middle of area A1, and the map on it."""
    from qgis.core import QgsLayoutItemMap

    from inslab.plugin.layouts.map_sheets import MapDrawer

    half = np.array([width, height]) / 2
    sheet = MapSheet(
        **{
            "title": "Plan",
            "level": "Level 1",
            "surface": "top",
            "extent_m": np.array([[1.5, 1.0] - half, [1.5, 1.0] + half]),
            "caption": "",
            **changed,
        }
    )
    drawer = MapDrawer(survey, holes)
    layout = drawer.draw(sheet)
    (view,) = [item for item in layout.items() if isinstance(item, QgsLayoutItemMap)]
    return drawer, sheet, layout, view


# The map of an upright page is 171 by 193 mm, that of a lying one 258 by 106 mm.
@pytest.mark.parametrize(
    ("width", "height", "scale", "lying"),
    [
        (0.8, 0.8, 5, False),
        (3.0, 3.0, 20, False),
        (12.0, 4.0, 50, True),
        (100.0, 40.0, 500, True),
        (5.0, 20.0, 200, False),
    ],
)
def test_the_scale_is_round_and_everything_fits(qgis_app, survey, width, height, scale, lying):
    _drawer, sheet, layout, view = drawn(survey, width, height)
    size = layout.pageCollection().page(0).pageSize()
    assert (size.width() > size.height()) == lying
    assert view.scale() == pytest.approx(scale, rel=1e-3)
    shown = view.extent()
    assert shown.xMinimum() <= sheet.extent_m[0, 0] + 1e-9
    assert shown.yMaximum() >= sheet.extent_m[1, 1] - 1e-9


def test_layers_are_those_of_the_plane(qgis_app, survey):
    _drawer, _sheet, _layout, view = drawn(survey, 3, 2, HOLES)
    counts = {layer.name(): layer.featureCount() for layer in view.layers()}
    assert counts == {"Planned holes, true size": 1, "Items, 95 % strip in plan": 18, "Scan area": 3, "": 1}


def test_nothing_lies_outside_the_page(qgis_app, survey):
    for width, height in ((3.0, 2.0), (30.0, 5.0)):
        _drawer, _sheet, layout, _view = drawn(survey, width, height, HOLES)
        layout.refresh()
        page = layout.pageCollection().page(0)
        for item in layout.items():
            if item is not page and hasattr(item, "pagePos"):
                where = item.pagePos()
                assert where.x() >= 0
                assert where.x() + item.rect().width() <= page.rect().width()
                assert where.y() + item.rect().height() <= page.rect().height()


def test_unscanned_ground_is_grey_and_scanned_ground_white(qgis_app, survey):
    """The page as a picture, looked at where area A1 (scanned both ways) has no bar, and beside the areas."""
    from qgis.core import QgsLayoutExporter

    _drawer, _sheet, layout, view = drawn(survey, 5.5, 3.0)
    image = QgsLayoutExporter(layout).renderPageToImage(0, dpi=200)

    def colour(x, y):
        shown = view.extent()
        across = view.pagePos().x() + (x - shown.xMinimum()) / shown.width() * view.rect().width()
        down = view.pagePos().y() + (shown.yMaximum() - y) / shown.height() * view.rect().height()
        return image.pixelColor(round(across / 25.4 * 200), round(down / 25.4 * 200)).name()

    assert colour(1.0, 1.2) == "#ffffff"
    assert colour(1.5, -0.3) == "#d9d9d9"
    assert colour(3.6, 1.2) == "#d9d9d9"  # lines ran one way only


def test_grid_north_is_turned_by_the_tie(qgis_app, survey):
    """Site x 30 degrees anticlockwise from grid east: grid north lies 30 degrees clockwise from site y."""
    drawer, sheet, _layout, _view = drawn(survey, 3, 2)
    assert drawer.national_north_deg(sheet) is None
    wkt = tied_crs_wkt("Hall", "EPSG:25832", GridTie.from_degrees(691000.0, 5335000.0, 30.0))
    restamp(survey, wkt, {CRS_KEY: wkt})
    drawer, sheet, _layout, _view = drawn(survey, 3, 2)
    assert drawer.national_north_deg(sheet) == pytest.approx(30.0, abs=1e-6)
    drawer, sheet, _layout, _view = drawn(survey, 3, 2, surface="wall")
    assert drawer.national_north_deg(sheet) is None
