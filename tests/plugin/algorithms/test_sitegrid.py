"""inslab:sitegrid: definition, refusals, run (through QGIS's own transformation), cancelling."""

import math
import shutil
from pathlib import Path

import pytest
from algorithms import Log, complaint, outputs_of, parameters_of, run
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsCoordinateTransformContext,
    QgsPointXY,
    QgsProcessingException,
    QgsRasterLayer,
    QgsVectorLayer,
)

EAST, NORTH, DEGREES, SCALE = 691000.0, 5335000.0, 23.5, 0.99975


def national(x, y):
    """Site to national grid, written out apart from the product."""
    cos, sin = math.cos(math.radians(DEGREES)), math.sin(math.radians(DEGREES))
    return EAST + SCALE * (x * cos - y * sin), NORTH + SCALE * (x * sin + y * cos)


@pytest.fixture
def pairs(tmp_path):
    """Four points of a 200 m building, known to a millimetre in both grids."""
    path = tmp_path / "pairs.csv"
    rows = ["point_id,site_x_m,site_y_m,east_m,north_m,sigma_m"]
    for number, (x, y) in enumerate(((0, 0), (200, 0), (200, 60), (0, 60))):
        east, north = national(x, y)
        rows.append(f"G{number},{x},{y},{east:.4f},{north:.4f},0.001")
    path.write_text("\n".join(rows), encoding="utf-8")
    return path


def test_definition(inslab_provider):
    assert parameters_of("sitegrid") == {
        "SURVEY": ("file", None, False),
        "GRID_NAME": ("string", "Site grid", False),
        "BASE_CRS": ("crs", None, True),
        "PAIRS": ("file", None, True),
        **dict.fromkeys(("EAST", "NORTH", "ROTATION", "SCALE"), ("number", None, True)),
        "REPORT": ("fileDestination", None, True),
    }
    assert outputs_of("sitegrid") == {"REPORT", "CRS_WKT", "FITTED_ROTATION", "FITTED_SCALE", "WORST_RESIDUAL"}


def test_refusals(survey, pairs, tmp_path):
    assert "There is no file" in complaint("sitegrid", {"SURVEY": str(tmp_path / "none.gpkg")})
    given = {"SURVEY": str(survey), "PAIRS": str(pairs)}
    assert "Choose the national grid" in complaint("sitegrid", given)
    assert "not both" in complaint("sitegrid", {**given, "BASE_CRS": "EPSG:25832", "EAST": 5})
    assert "Enter a table of points" in complaint("sitegrid", {"SURVEY": str(survey), "BASE_CRS": "EPSG:25832"})
    assert "close to 1" in complaint("sitegrid", {**given, "BASE_CRS": "EPSG:25832", "SCALE": 1000})
    with pytest.raises(QgsProcessingException, match="not in metres"):
        run("sitegrid", {**given, "BASE_CRS": "EPSG:2263"})
    with pytest.raises(QgsProcessingException, match="not a projected coordinate system"):
        run("sitegrid", {**given, "BASE_CRS": "EPSG:4326"})


def test_run_ties_survey_and_rasters_to_the_national_grid_within_a_millimetre(
    inslab_provider, qgis_processing, processed, pairs, tmp_path
):
    """Across 200 m, to and from EPSG:25832 by QGIS, for the layers and rasters as they are opened from their files."""
    folder = tmp_path / "result"
    shutil.copytree(Path(processed[0]["OUTPUT_FOLDER"]), folder)
    before = QgsVectorLayer(f"{folder}/survey.gpkg|layername=scan_areas", "", "ogr").extent()
    parameters = {"SURVEY": f"{folder}/survey.gpkg", "BASE_CRS": "EPSG:25832", "PAIRS": str(pairs)}
    outputs = run("sitegrid", {**parameters, "GRID_NAME": 'Hall "7"', "REPORT": str(tmp_path / "grid.html")})
    assert outputs["FITTED_SCALE"] == pytest.approx(SCALE, abs=1e-6)
    assert outputs["FITTED_ROTATION"] == pytest.approx(DEGREES, abs=1e-4)
    assert outputs["WORST_RESIDUAL"] < 1e-4

    opened = [QgsVectorLayer(f"{folder}/survey.gpkg|layername={name}", name, "ogr") for name in ("items", "scan_areas")]
    opened += [QgsRasterLayer(str(path), path.stem) for path in sorted(folder.glob("*/*.tif"))]
    assert len(opened) > 4
    target = QgsCoordinateReferenceSystem("EPSG:25832")
    for layer in opened:
        assert layer.isValid()
        assert layer.crs().isValid()
        there = QgsCoordinateTransform(layer.crs(), target, QgsCoordinateTransformContext())
        back = QgsCoordinateTransform(target, layer.crs(), QgsCoordinateTransformContext())
        assert there.isValid()
        for x, y in ((0.0, 0.0), (200.0, 0.0), (200.0, 60.0), (-20.0, 190.0)):
            found = there.transform(QgsPointXY(x, y))
            assert (found.x(), found.y()) == pytest.approx(national(x, y), abs=0.001)
            again = back.transform(found)
            assert (again.x(), again.y()) == pytest.approx((x, y), abs=1e-6)
    after = QgsVectorLayer(f"{folder}/survey.gpkg|layername=scan_areas", "", "ogr").extent()
    assert after == before
    report = (tmp_path / "grid.html").read_text(encoding="utf-8")
    assert "Hall &quot;7&quot;" in report
    assert "23.5000" in report

    # Later steps keep the grid; and it can be left again.
    run("fitareas", {"SURVEY": f"{folder}/survey.gpkg", "REPORT": str(tmp_path / "f.html")})
    areas = QgsVectorLayer(f"{folder}/survey.gpkg|layername=scan_areas", "", "ogr")
    assert QgsCoordinateTransform(areas.crs(), target, QgsCoordinateTransformContext()).transform(
        QgsPointXY(200, 0)
    ).x() == pytest.approx(national(200, 0)[0], abs=0.001)
    alone = run("sitegrid", {"SURVEY": f"{folder}/survey.gpkg", "REPORT": str(tmp_path / "g.html")})
    assert alone["FITTED_SCALE"] is None
    for layer in (
        QgsVectorLayer(f"{folder}/survey.gpkg|layername=scan_areas", "", "ogr"),
        QgsRasterLayer(str(next(folder.glob("slices/*.tif"))), ""),
    ):
        assert "not tied" in layer.crs().description()


def test_origin_and_rotation_take_the_scale_of_the_projection(survey, tmp_path):
    """Point scale of UTM from its series on the central meridian's flank: k = 0.9996 (1 + (E' / (0.9996 R))²/2), E' = E - 500 km
    and R = 6 384 km near 48 degrees north (Snyder, Map Projections: A Working Manual, equation 8-11 without its small terms).
    """
    parameters = {"SURVEY": str(survey), "BASE_CRS": "EPSG:25832", "EAST": EAST, "NORTH": NORTH, "ROTATION": DEGREES}
    outputs = run("sitegrid", {**parameters, "REPORT": str(tmp_path / "g.html")})
    expected = 0.9996 * (1 + ((EAST - 500000) / (0.9996 * 6384000)) ** 2 / 2)
    assert outputs["FITTED_SCALE"] == pytest.approx(expected, abs=2e-6)
    assert outputs["FITTED_ROTATION"] == pytest.approx(DEGREES)


def test_cancelled_leaves_the_survey_as_it_was(survey, pairs):
    before = survey.read_bytes()
    parameters = {"SURVEY": str(survey), "BASE_CRS": "EPSG:25832", "PAIRS": str(pairs)}
    assert run("sitegrid", parameters, Log(stop_at=0)) == {}
    assert survey.read_bytes() == before
