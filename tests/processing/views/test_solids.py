"""Bodies for the view in space, against the closed forms of solid geometry."""

import numpy as np
import pytest

from inslab.processing.common.errors import ProcessingError
from inslab.processing.common.vocabulary.kinds import KINDS
from inslab.processing.site.crs import local_crs_wkt
from inslab.processing.store import layers
from inslab.processing.store.geopackage import read_layer, write_geopackage
from inslab.processing.store.layer import Layer
from inslab.processing.views import solids
from inslab.processing.views.solids import flat_face, hole_body, tube

D, N = 0.05, solids.SIDES
# A regular polygon of N corners on a circle of diameter D (Euclid, elements of plane geometry).
SIDE = D * np.sin(np.pi / N)
AREA = 0.125 * N * D**2 * np.sin(2 * np.pi / N)


def measure(faces):
    """Surface and enclosed volume of closed faces (divergence theorem); negative where normals point inwards."""
    surface = volume = 0.0
    for ring in faces:
        for a, b in zip(ring[1:-2], ring[2:-1]):
            normal = 0.5 * np.cross(a - ring[0], b - ring[0])
            surface += np.linalg.norm(normal)
            volume += normal @ ring[0] / 3.0
    return surface, volume


@pytest.mark.parametrize("end", [(3, 0, 0), (0, 2, 0), (0, 0, -1.5), (0, 0, 1.5), (1, 2, -0.5), (-2, 1, 1)])
def test_a_straight_tube_is_a_prism(end):
    start = np.array([10.0, 20.0, -0.1])
    length = np.linalg.norm(end)
    faces = tube([start, start + end], D)
    assert len(faces) == N + 2
    surface, volume = measure(faces)
    assert surface == pytest.approx(N * SIDE * length + 2 * AREA, rel=1e-9)
    assert volume == pytest.approx(AREA * length, rel=1e-9)  # positive: normals point outwards
    direction = np.asarray(end) / length
    corners = np.vstack(faces) - start
    off_axis = np.linalg.norm(corners - np.outer(corners @ direction, direction), axis=1)
    assert np.allclose(off_axis, D / 2, atol=1e-12)


def test_a_drape_keeps_its_thickness_and_its_volume():
    x = np.linspace(0.0, 4.0, 9)
    line = np.column_stack([x, 0.2 * x, -0.06 - 0.08 * np.sin(np.pi * x / 4)])
    faces = tube(line, D)
    # Cut along bisecting planes, the parts' corners lie as far beyond the bend on one side as they fall short on the other.
    length = np.linalg.norm(np.diff(line, axis=0), axis=1).sum()
    assert measure(faces)[1] == pytest.approx(AREA * length, rel=1e-9)
    for ring in faces[1:-1]:
        outward = np.cross(ring[1] - ring[0], ring[3] - ring[0])
        middle = ring[:4].mean(axis=0)
        nearest = line[np.argmin(np.linalg.norm(line - middle, axis=1))]
        to_axis = middle - nearest
        along = np.array([1.0, 0.2, 0.0]) / np.hypot(1.0, 0.2)
        assert outward @ (to_axis - (to_axis @ along) * along) > 0.0


def test_lines_without_length_have_no_body():
    assert tube([[1, 2, 3], [1, 2, 3]], D) == []
    doubled = tube([[0, 0, 0], [0, 0, 0], [1, 0, 0], [1, 0, 0]], D)
    assert measure(doubled)[1] == pytest.approx(AREA)


def test_a_flat_face_looks_up_whichever_way_its_ring_runs():
    ring = np.array([[0, 0], [2, 0], [2, 1], [0, 1], [0, 0]], float)
    for one in (ring, ring[::-1]):
        face = flat_face(one, -0.2)
        assert (face[:, 2] == -0.2).all()
        assert np.cross(face[1] - face[0], face[2] - face[1])[2] > 0.0


def test_a_hole_leans_to_its_azimuth():
    # 0.2 m along an axis 30 degrees off the perpendicular, towards east (90 degrees clockwise from north).
    values = {"diameter_m": D, "depth_m": 0.2, "tilt_deg": 30.0, "azimuth_deg": 90.0}
    faces = hole_body((5.0, 6.0), values)
    assert measure(faces)[1] == pytest.approx(AREA * 0.2)
    centre = faces[-1][:-1].mean(axis=0)
    assert centre == pytest.approx([5.0 + 0.1, 6.0, -0.2 * np.cos(np.radians(30))])
    up = hole_body((5.0, 6.0), {"diameter_m": D, "depth_m": 0.2, "surface": "soffit"})
    assert up[-1][:-1].mean(axis=0) == pytest.approx([5.0, 6.0, 0.2])


@pytest.fixture
def survey(tmp_path):
    """A survey with one bar from above and one from below, and a slab base under the first area."""
    pytest.importorskip("osgeo")
    outline = [np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]], float)]
    text = dict.fromkeys(("area_id", "level", "surface"), str)
    areas = [
        (outline, {"area_id": "A1", "level": "L1", "surface": "top"}),
        (outline, {"area_id": "S1", "level": "L1", "surface": "soffit"}),
        (None, {"area_id": "LOST", "level": "L1", "surface": "top"}),
    ]
    fields = {**dict.fromkeys(("item_id", "kind", "level", "surface", "status"), str), "depth_min_m": float}
    line = np.array([[0, 0.5, -0.05], [1, 0.5, -0.07]])
    items = [
        (line, {"item_id": "one", "kind": "bar", "level": "L1", "surface": "top"}),
        (line, {"item_id": "two", "kind": "tendon", "level": "L1", "surface": "soffit"}),
        (None, {"item_id": "lost", "kind": "bar", "level": "L1", "surface": "top"}),
    ]
    numbers = dict.fromkeys(("reliable_m", "thickness_m", "sigma_thickness_m"), float)
    depths = [(None, {"area_id": "A1", "reliable_m": 0.3, "thickness_m": 0.25, "sigma_thickness_m": 0.004})]
    found = [
        Layer("scan_areas", "Polygon", text, areas),
        Layer("items", "LineStringZ", fields, items),
        Layer("area_depths", None, {"area_id": str, **numbers}, depths),
    ]
    wkt = local_crs_wkt()
    write_geopackage(tmp_path / "survey.gpkg", found, wkt, {layers.CRS_KEY: wkt})
    return tmp_path / "survey.gpkg"


@pytest.mark.parametrize("exaggeration", [1.0, 3.0])
def test_bodies_of_a_survey_lie_at_their_true_heights(survey, exaggeration):
    path = solids.write_solids(survey, exaggeration=exaggeration)
    assert path == survey.with_name("in_3d.gpkg")
    bodies = {row["item_id"]: (np.vstack(faces), row) for faces, row in read_layer(path, solids.ITEM_BODIES)}
    assert set(bodies) == {"one", "two"}
    corners, row = bodies["one"]
    assert row["drawn_diameter_m"] == KINDS["bar"].drawn_diameter_m
    # The side towards the scanned surface is what was measured: 50 mm deep at one end, 70 mm at the other.
    middle = -(exaggeration * 0.06 + KINDS["bar"].drawn_diameter_m / 2)
    assert (corners[:, 2].min() + corners[:, 2].max()) / 2 == pytest.approx(middle, abs=1e-9)
    assert bodies["two"][0][:, 2].min() > 0.0  # seen from below, it lies above the soffit
    faces = {(row["area_id"], row["face"]): ring[0][:, 2] for ring, row in read_layer(path, solids.SLAB_SURFACES)}
    assert set(faces) == {("A1", solids.TOP), ("A1", solids.BASE), ("S1", solids.TOP)}
    assert faces["A1", solids.BASE] == pytest.approx(-0.25 * exaggeration)
    assert solids.planes_in(path) == [("L1", "top"), ("L1", "soffit")]
    assert read_layer(path, solids.HOLE_BODIES) == []


def test_a_flat_item_touches_its_depth_from_below(survey):
    faces, _ = read_layer(solids.write_solids(survey), solids.ITEM_BODIES)[0]
    start = faces[0][:, 2].max()  # the end that lies 50 mm deep; the tube leans by 2 per cent
    assert start == pytest.approx(-0.05, abs=1e-4)


def test_an_exaggeration_that_cannot_be_is_refused(survey):
    with pytest.raises(ProcessingError, match="up to 20 times, not 0"):
        solids.write_solids(survey, exaggeration=0.0)
    assert not survey.with_name("in_3d.gpkg").exists()
