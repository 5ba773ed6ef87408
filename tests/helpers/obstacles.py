"""Obstacles and ground for tests of what is computed about penetrations."""

import numpy as np

from inslab.processing.floor.hidden_ground import find_hidden
from inslab.processing.floor.unknown_ground import KnownGround, ScannedPiece
from inslab.processing.penetrations.clearance import cut_up
from inslab.processing.penetrations.model import DEFAULT_RULES, KindRule, Obstacle

RULES = {
    kind: KindRule(0.015, rule.smallest_diameter_m, rule.largest_diameter_m) for kind, rule in DEFAULT_RULES.items()
}


def obstacle(item_id, vertices, sigma_xy_m=0.003, sigma_depth_m=0.004, confidence=1.0, rule=RULES["bar"], kind="bar"):
    """One item with its vertices x, y, depth to the top."""
    return Obstacle(item_id, kind, np.array(vertices, float), sigma_xy_m, sigma_depth_m, confidence, rule)


def line(item_id, start, end, **more):
    """A straight item."""
    return obstacle(item_id, [start, end], **more)


def pieces(*obstacles):
    """Items cut up."""
    return cut_up(obstacles)


def hidden(cut, wavelength_m):
    """Strips of hidden ground among items cut up, with what is assumed of them."""
    return find_hidden(cut, cut.largest_radius_m, cut.keep_out_m, wavelength_m)


def box(x0, y0, x1, y1):
    """Closed ring of a rectangle."""
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)], float)


def ground(*boxes, depth_m=0.25, directions=2, sigma_xy_m=0.0, **more):
    """Rectangles that were scanned."""
    scanned = [ScannedPiece(f"A{n}", [box(*one)], depth_m, directions, sigma_xy_m) for n, one in enumerate(boxes, 1)]
    return KnownGround(scanned, **more)
