"""File names of mosaics, and placed items."""

import numpy as np
import pytest

from inslab.processing.floor.placing import place_item
from inslab.processing.items.model import Item
from inslab.processing.site.frame import FITTED, AreaFit
from inslab.processing.store.rasters import mosaic_names
from inslab.processing.survey.model import ScanArea


def area(area_id, level, surface="top"):
    return ScanArea(area_id, level, surface, 0.06, 1500.0)


def item(item_id, areas, *vertices):
    return Item(item_id, tuple(areas), np.array(vertices, float), {"bar": 1.0}, 0.9, 0.003, 0.002, 4)


def test_a_level_and_an_area_of_one_name_keep_a_file_each():
    names = mosaic_names([area("l1", "L1"), area("B", "L1"), area("C", "L1", "wall"), area("D", "L2", "soffit")])
    assert names == {("L1", "top"): "level L1", ("L1", "wall"): "L1 wall", ("L2", "soffit"): "L2 soffit"}


def test_two_planes_never_share_a_file():
    names = mosaic_names([area("A", "L1", "wall"), area("B", "L1 wall"), area("C", "l1 WALL")])
    assert len({name.casefold() for name in names.values()}) == 3


def test_placing_adds_the_uncertainty_of_the_fit():
    fit = AreaFit(
        "A", FITTED, np.pi / 2, np.array([10.0, 20.0]), False, np.zeros(2), np.diag([0.002**2, 0.002**2, 0.001**2])
    )
    placed = place_item(item("A-1", "A", [-1, 0, 0.05], [1, 0, 0.06]), fit)
    assert placed.vertices_m == pytest.approx(np.array([[10, 19, 0.05], [10, 21, 0.06]]))
    # at both ends: 2 mm from the shift and, across the arm of 1 m only, 1 mm from the rotation, pooled over two axes
    assert placed.sigma_xy_m == pytest.approx(np.sqrt(0.003**2 + 0.002**2 + 0.001**2 / 2))
