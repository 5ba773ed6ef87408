"""inslab:fitdrawing: definition, refusals, run, cancelling."""

import plans
import pytest
from algorithms import Log, complaint, outputs_of, parameters_of, run
from qgis.core import (
    QgsFeature,
    QgsGeometry,
    QgsPointXY,
    QgsProcessingException,
    QgsRasterLayer,
    QgsVectorLayer,
)


@pytest.fixture
def drawing(tmp_path):
    plans.write_dxf(tmp_path / "floor.dxf")
    plans.write_pairs(tmp_path / "pairs.csv")
    return tmp_path / "floor.dxf"


def parameters(drawing, folder, **more):
    return {
        "DRAWING": str(drawing),
        "PAIRS": str(drawing.with_name("pairs.csv")),
        "OUTPUT_FOLDER": str(folder),
        **more,
    }


def test_definition(inslab_provider):
    assert parameters_of("fitdrawing") == {
        "DRAWING": ("file", None, False),
        "PAIRS": ("source", None, False),
        "METHOD": ("enum", 0, False),
        "SURVEY": ("file", None, True),
        "PAGE": ("number", 1, False),
        "DPI": ("number", 200.0, False),
        "OUTPUT_FOLDER": ("folderDestination", None, False),
    }
    assert outputs_of("fitdrawing") == {"OUTPUT_FOLDER", "OUTPUT", "REPORT", "RMS_RESIDUAL"}


def test_refusals(inslab_provider, drawing, tmp_path):
    given = parameters(drawing, tmp_path / "out")
    assert "There is no drawing" in complaint("fitdrawing", {**given, "DRAWING": str(tmp_path / "none.dxf")})
    assert "must be DXF, PNG" in complaint("fitdrawing", {**given, "DRAWING": given["PAIRS"]})
    assert "There is no file" in complaint("fitdrawing", {**given, "SURVEY": str(tmp_path / "none.gpkg")})


def test_run_puts_a_drawing_onto_the_survey_s_grid(survey, drawing, tmp_path):
    outputs = run("fitdrawing", parameters(drawing, tmp_path / "out", SURVEY=str(survey)))
    assert outputs["RMS_RESIDUAL"] < 1e-5
    lines = QgsVectorLayer(f"{outputs['OUTPUT']}|layername=drawing_lines", "", "ogr")
    assert lines.isValid()
    assert lines.crs() == QgsVectorLayer(f"{survey}|layername=scan_areas", "", "ogr").crs()
    west = min(x for x, _ in plans.axis_crossings().values())
    columns = [
        row.geometry().boundingBox().center().x() for row in lines.getFeatures() if row["cad_layer"] == "columns"
    ]
    assert min(columns) == pytest.approx(west, abs=1e-4)


def test_run_takes_points_on_the_map(drawing, tmp_path, inslab_provider, qgis_processing):
    """A point layer on the site grid with the drawing's coordinates as attributes."""
    layer = QgsVectorLayer(
        "Point?field=point_id:string&field=drawing_x:double&field=drawing_y:double", "points", "memory"
    )
    crossings = plans.axis_crossings()
    for (name, site), place in zip(crossings.items(), plans.to_drawing(list(crossings.values()))):
        feature = QgsFeature(layer.fields())
        feature.setAttributes([name, *(float(part) for part in place)])
        feature.setGeometry(QgsGeometry.fromPointXY(QgsPointXY(*site)))
        layer.dataProvider().addFeature(feature)
    outputs = run("fitdrawing", parameters(drawing, tmp_path / "out", PAIRS=layer))
    assert outputs["RMS_RESIDUAL"] < 1e-5


def test_run_fits_a_picture(tmp_path, inslab_provider, qgis_processing):
    from inslab.sample_project import scanned_plan

    scanned_plan.write_png(tmp_path / "plan.png")
    scanned_plan.write_control(tmp_path / "pairs.csv")
    outputs = run("fitdrawing", parameters(tmp_path / "plan.png", tmp_path / "out", METHOD=1))
    assert outputs["RMS_RESIDUAL"] < 0.02
    picture = QgsRasterLayer(outputs["OUTPUT"], "plan")
    assert picture.isValid()
    assert "not tied" in picture.crs().description()
    (x, y) = plans.axis_crossings()["2B"]
    assert picture.extent().contains(QgsPointXY(x, y))


def test_points_without_the_right_columns_are_refused(drawing, tmp_path, inslab_provider, qgis_processing):
    layer = QgsVectorLayer("Point?field=name:string", "points", "memory")
    feature = QgsFeature(layer.fields())
    feature.setGeometry(QgsGeometry.fromPointXY(QgsPointXY(1, 2)))
    layer.dataProvider().addFeature(feature)
    with pytest.raises(QgsProcessingException, match="lack the column drawing_x"):
        run("fitdrawing", parameters(drawing, tmp_path / "out", PAIRS=layer))


def test_cancelled_leaves_nothing(drawing, tmp_path, inslab_provider, qgis_processing):
    assert run("fitdrawing", parameters(drawing, tmp_path / "out"), Log(stop_at=0)) == {}
    assert not (tmp_path / "out").exists() or not list((tmp_path / "out").iterdir())
