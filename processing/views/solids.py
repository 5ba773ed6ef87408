"""Bodies for a view in space: items as tubes, slab surfaces, penetrations as cylinders, made of flat faces.

Heights are true: zero at the scanned surface, downwards negative (upwards positive for a soffit, whose depths go up into the slab),
times an exaggeration where one is asked for. Diameters of items are drawn sizes; they are not measured. A tube's side towards
the scanned surface lies at the measured depth, which is that of the item's top.
"""

import math
from pathlib import Path
from typing import List, Mapping, Tuple

import numpy as np

from ..common import cautions
from ..common.errors import ProcessingError
from ..common.language import tr
from ..common.monitor import Monitor
from ..common.vocabulary.kinds import kind_of
from ..common.vocabulary.surfaces import is_from_below, plane_order
from ..penetrations.model import Penetrations
from ..store.geopackage import read_layer, write_geopackage
from ..store.layer import Layer
from ..store.reading import read_area_depths, read_crs_wkt
from ..store.schema import AREA_DEPTHS, ITEMS, PENETRATION_VERDICTS, SCAN_AREAS

SOLIDS_FILE = "in_3d.gpkg"
ITEM_BODIES, SLAB_SURFACES, HOLE_BODIES = "item_bodies", "slab_surfaces", "penetration_bodies"
TOP, BASE = "scanned surface", "slab base"
SIDES = 12
MOST_EXAGGERATION = 20.0


def tube(vertices_m, diameter_m: float) -> List[np.ndarray]:
    """Faces of a tube with closed ends along a line.

    `vertices_m` has the shape (n, 3). Each face is a closed ring of corners, shape (k + 1, 3), counter-clockwise as seen from
    outside, so that its normal points outwards. The tube has `SIDES` flat sides whose edges lie on the circle of the given
    diameter; at a bend it is cut along the bisecting plane, so that neither part is thinner. Its frame is carried along
    without twist. Returns nothing for a line without length.
    """
    line = np.asarray(vertices_m, float)
    line = line[np.r_[True, np.linalg.norm(np.diff(line, axis=0), axis=1) > 1e-9]]
    if len(line) < 2:
        return []
    along = np.diff(line, axis=0)
    along /= np.linalg.norm(along, axis=1)[:, None]
    angles = 2.0 * np.pi * np.arange(SIDES) / SIDES
    first = _across(along[0])
    circle = 0.5 * diameter_m * (np.cos(angles)[:, None] * first + np.sin(angles)[:, None] * np.cross(along[0], first))
    rings = [line[0] + circle]
    for number, here in enumerate(line[1:], 1):
        before = along[number - 1]
        after = along[number] if number < len(along) else before
        # Slid along its straight part to the plane in which both parts meet.
        normal = before + after
        if np.linalg.norm(normal) < 1e-6:  # turns back on itself
            normal = before
        corners = rings[-1] + (((here - rings[-1]) @ normal) / (before @ normal))[:, None] * before
        rings.append(corners)
    faces = [_closed(rings[0][::-1])]
    for near, far in zip(rings, rings[1:]):
        for side in range(SIDES):
            other = (side + 1) % SIDES
            faces.append(_closed(np.array([near[side], near[other], far[other], far[side]])))
    return [*faces, _closed(rings[-1])]


def _across(direction: np.ndarray) -> np.ndarray:
    """A unit vector at right angles to another, level where that is possible."""
    level = np.cross([0.0, 0.0, 1.0], direction)
    if np.linalg.norm(level) < 1e-9:
        return np.array([1.0, 0.0, 0.0])
    return level / np.linalg.norm(level)


def _closed(corners: np.ndarray) -> np.ndarray:
    return np.vstack([corners, corners[:1]])


def flat_face(ring_m, height_m: float) -> np.ndarray:
    """A ring in plan, shape (n, 2), as a level face that looks up, shape (n, 3)."""
    ring = np.asarray(ring_m, float)
    x, y = ring[:-1].T
    if np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) < 0.0:
        ring = ring[::-1]
    return np.column_stack([ring, np.full(len(ring), height_m)])


def write_solids(survey_path, verdicts_path=None, exaggeration: float = 1.0, monitor: Monitor = Monitor()) -> Path:
    """Writes the bodies of a survey into a GeoPackage beside it and returns its path.

    `verdicts_path` is a GeoPackage with the layer `penetration_verdicts`, if there is one. Raises `ProcessingError`,
    `SurveyError`, `Cancelled`.
    """
    if not 0.0 < exaggeration <= MOST_EXAGGERATION:
        text = tr("Heights can be exaggerated up to {most} times, not {given} times.")
        raise ProcessingError(text.format(most=f"{MOST_EXAGGERATION:g}", given=exaggeration))
    survey_path = Path(survey_path)
    output = survey_path.with_name(SOLIDS_FILE)
    layers = [
        _items(survey_path, exaggeration, monitor.part(0.0, 0.8)),
        _surfaces(survey_path, exaggeration),
        _holes(verdicts_path, exaggeration),
    ]
    monitor.step(0.9)
    write_geopackage(output, layers, read_crs_wkt(survey_path))
    return output


def _sense(surface: str) -> float:
    """Into the concrete: up for what was scanned from below, else down."""
    return 1.0 if is_from_below(surface) else -1.0


def _items(survey_path: Path, exaggeration: float, monitor: Monitor) -> Layer:
    numbers = (ITEMS.depth_min_m, ITEMS.depth_max_m, ITEMS.sigma_depth_m, "drawn_diameter_m")
    fields = {
        **dict.fromkeys((ITEMS.item_id, ITEMS.kind, ITEMS.level, ITEMS.surface, ITEMS.status), str),
        **dict.fromkeys(numbers, float),
    }
    rows, found = [], read_layer(survey_path, ITEMS.name)
    for number, (line, values) in enumerate(found):
        monitor.step(number / len(found))
        if line is None:
            continue
        diameter = kind_of(values[ITEMS.kind]).drawn_diameter_m
        body = np.array(line, float)
        # The stored height is minus the depth to the top, whichever way the surface looks.
        body[:, 2] = _sense(values[ITEMS.surface]) * (0.5 * diameter - exaggeration * body[:, 2])
        faces = tube(body, diameter)
        if faces:
            kept = {name: values.get(name) for name in fields if name != "drawn_diameter_m"}
            rows.append((faces, {**kept, "drawn_diameter_m": diameter}))
    text = tr(
        "Items as tubes whose size is for display only, heights exaggerated {exaggeration:g} times. {short}",
        exaggeration=exaggeration,
        short=cautions.SHORT,
    )
    return Layer(ITEM_BODIES, "MultiPolygonZ", fields, rows, text)


def _surfaces(survey_path: Path, exaggeration: float) -> Layer:
    fields = {
        **dict.fromkeys((SCAN_AREAS.area_id, SCAN_AREAS.level, SCAN_AREAS.surface, "face"), str),
        AREA_DEPTHS.thickness_m: float,
        "sigma_m": float,
    }
    depths, rows = read_area_depths(survey_path), []
    for rings, values in read_layer(survey_path, SCAN_AREAS.name):
        if rings is None:
            continue
        kept = {name: values[name] for name in (SCAN_AREAS.area_id, SCAN_AREAS.level, SCAN_AREAS.surface)}
        rows.append(([flat_face(rings[0], 0.0)], {**kept, "face": TOP}))
        known = depths.get(values[SCAN_AREAS.area_id])
        if known is not None and known.thickness_m:
            height = _sense(values[SCAN_AREAS.surface]) * known.thickness_m * exaggeration
            thickness = {AREA_DEPTHS.thickness_m: known.thickness_m, "sigma_m": known.sigma_thickness_m}
            rows.append(([flat_face(rings[0], height)], {**kept, "face": BASE, **thickness}))
    text = tr("Scanned surface of each area, and the slab base where it is seen; without it the thickness is unknown.")
    return Layer(SLAB_SURFACES, "MultiPolygonZ", fields, rows, text)


def _holes(verdicts_path, exaggeration: float) -> Layer:
    fields = {
        **dict.fromkeys(
            (
                PENETRATION_VERDICTS.penetration_id,
                PENETRATION_VERDICTS.verdict,
                PENETRATION_VERDICTS.level,
                PENETRATION_VERDICTS.surface,
            ),
            str,
        ),
        PENETRATION_VERDICTS.diameter_m: float,
        PENETRATION_VERDICTS.depth_m: float,
    }
    rows = []
    if verdicts_path and Path(verdicts_path).is_file():
        for place, values in read_layer(verdicts_path, PENETRATION_VERDICTS.name):
            if place is not None:
                kept = {name: values.get(name) for name in fields}
                rows.append((hole_body(place, values, exaggeration), kept))
    text = tr(
        "Penetrations as cylinders of the drilled diameter, heights exaggerated {exaggeration:g} times. {short}",
        exaggeration=exaggeration,
        short=cautions.SHORT,
    )
    return Layer(HOLE_BODIES, "MultiPolygonZ", fields, rows, text)


def hole_body(place, values: Mapping, exaggeration: float = 1.0) -> List[np.ndarray]:
    """The drilled cylinder of a penetration with the columns of its row; upright where it states no direction."""
    tilt, azimuth = (
        math.radians(values.get(name) or 0.0)
        for name in (PENETRATION_VERDICTS.tilt_deg, PENETRATION_VERDICTS.azimuth_deg)
    )
    hole = Penetrations.upright(
        np.asarray(place, float)[:2], values[PENETRATION_VERDICTS.diameter_m], values[PENETRATION_VERDICTS.depth_m], 0.0
    )
    hole = Penetrations(
        hole.ids,
        hole.entry_m,
        hole.diameter_m,
        hole.depth_m,
        hole.tolerance_m,
        np.array([azimuth]),
        np.array([tilt]),
    )
    start = np.array([*hole.entry_m[0], 0.0])
    step = hole.axis[0] * hole.depth_m[0] * [1.0, 1.0, _sense(values.get(PENETRATION_VERDICTS.surface)) * exaggeration]
    return tube([start, start + step], float(hole.diameter_m[0]))


def planes_in(path) -> List[Tuple[str, str]]:
    """Levels and sides that have bodies in a file that `write_solids` wrote, plans first."""
    places = {(row[SCAN_AREAS.level], row[SCAN_AREAS.surface]) for _, row in read_layer(path, SLAB_SURFACES)}
    return sorted(places, key=plane_order)
