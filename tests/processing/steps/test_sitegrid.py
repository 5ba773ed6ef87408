"""Drawings on the site grid: linework, a scanned plan, a PDF page; what cannot be read is said in a sentence."""

import numpy as np
import plans
import pytest

from inslab.processing.common.errors import ProcessingError, SurveyError
from inslab.processing.site.drawing_fit import AFFINE, pairs_from_rows
from inslab.processing.steps.fitdrawing import fit_drawing_step
from inslab.processing.store.geopackage import read_layer

gdal = pytest.importorskip("osgeo.gdal")
rasterio = pytest.importorskip("rasterio")


def fit(drawing, pairs, output, **options):
    is_picture = drawing.suffix != ".dxf"
    return fit_drawing_step(drawing, pairs_from_rows(plans.read_rows(pairs), is_picture), output, **options)


@pytest.fixture
def dxf(tmp_path):
    path = tmp_path / "floor.dxf"
    plans.write_dxf(path)
    plans.write_pairs(tmp_path / "pairs.csv")
    return path


@pytest.fixture(scope="module")
def print_of_plan(tmp_path_factory):
    """The sample's scanned plan and its control points."""
    from inslab.sample_project import scanned_plan

    folder = tmp_path_factory.mktemp("plan")
    scanned_plan.write_png(folder / "floor.png")
    scanned_plan.write_control(folder / "control.csv")
    return folder


def test_a_drawing_in_millimetres_lands_where_the_floor_is(dxf, tmp_path):
    from inslab.sample_project.drawings import floor_plan

    strokes, labels = floor_plan()
    path, found, sentences = fit(dxf, tmp_path / "pairs.csv", tmp_path / "out")
    assert path == tmp_path / "out" / "floor.gpkg"
    assert found.rms_m < 1e-6
    assert found.scales_m == pytest.approx((0.001, 0.001))
    assert found.rotation_deg == pytest.approx(-plans.TURN_DEG)
    assert (
        "The drawing says millimetres; according to the control points a unit is 0.001 m, which matches millimetres."
        in sentences
    )
    lines = read_layer(path, "drawing_lines")
    for stroke, (line, values) in zip(strokes, lines):
        assert values["cad_layer"] == stroke.layer
        assert line == pytest.approx(stroke.points_m, abs=1e-5)
    texts = read_layer(path, "drawing_points")
    assert [values["text"] for _, values in texts] == [label.text for label in labels]
    for label, (point, values) in zip(labels, texts):
        assert point == pytest.approx(label.point_m, abs=1e-5)
        assert values["text_height_m"] == pytest.approx(label.height_m, rel=1e-3)
    assert "what was planned" in (tmp_path / "out" / "floor-fit.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("unit", "words"),
    [
        (
            0,
            "The drawing states no unit; according to the control points a unit is 0.001 m, which matches millimetres.",
        ),
        (1, "Unit and control points do not agree: a unit should be 0.0254 m. Check the points."),
    ],
)
def test_the_unit_is_stated_and_compared(tmp_path, unit, words):
    plans.write_dxf(tmp_path / "floor.dxf", unit)
    plans.write_pairs(tmp_path / "pairs.csv")
    _, _, sentences = fit(tmp_path / "floor.dxf", tmp_path / "pairs.csv", tmp_path / "out")
    assert words in sentences


def test_texts_of_newer_files_keep_their_letters(tmp_path):
    """A hand-made DXF of release 2007 with a text in UTF-8, and a block that is drawn twice."""
    drawing = tmp_path / "floor.dxf"
    pairs = [
        *("0", "SECTION", "2", "HEADER", "9", "$ACADVER", "1", "AC1021", "9", "$INSUNITS", "70", "6", "0", "ENDSEC"),
        *(
            "0",
            "SECTION",
            "2",
            "BLOCKS",
            "0",
            "BLOCK",
            "8",
            "0",
            "2",
            "MARK",
            "70",
            "0",
            "10",
            "0",
            "20",
            "0",
            "3",
            "MARK",
        ),
        *(
            "0",
            "LINE",
            "8",
            "marks",
            "10",
            "0",
            "20",
            "0",
            "11",
            "1",
            "21",
            "0",
            "0",
            "ENDBLK",
            "8",
            "0",
            "0",
            "ENDSEC",
        ),
        *("0", "SECTION", "2", "ENTITIES"),
        *("0", "TEXT", "8", "names", "10", "2", "20", "3", "40", "0.5", "1", "Tür Süd"),
        *("0", "INSERT", "8", "marks", "2", "MARK", "10", "5", "20", "5"),
        *("0", "INSERT", "8", "marks", "2", "MARK", "10", "7", "20", "5"),
        *("0", "ENDSEC", "0", "EOF"),
    ]
    drawing.write_text("\n".join(pairs) + "\n", encoding="utf-8")
    table = tmp_path / "pairs.csv"
    table.write_text("point_id,drawing_x,drawing_y,site_x_m,site_y_m\n1,0,0,100,50\n2,9,0,109,50\n3,0,9,100,59\n")
    path, _, _ = fit(drawing, table, tmp_path / "out")
    (point, values), *rest = read_layer(path, "drawing_points")
    assert values["text"] == "Tür Süd"
    assert point == pytest.approx([102, 53])
    assert not rest
    assert [line.tolist() for line, _ in read_layer(path, "drawing_lines")] == [
        [[105.0, 55.0], [106.0, 55.0]],
        [[107.0, 55.0], [108.0, 55.0]],
    ]


def test_a_scanned_plan_lies_within_its_residuals(print_of_plan, tmp_path):
    """Column axes of the plan against the true transformation that the scan was drawn with; the picks scatter by half a pixel of
    18 mm, and the paper stretches by 1.2 per mille, which only the affine fit takes up.
    """
    from inslab.sample_project import building, scanned_plan

    matrix, shift = scanned_plan.pixel_transform()
    columns = np.array([(x, y) for x in building.AXES_X.values() for y in building.AXES_Y.values()])
    pixels = columns @ matrix.T + shift
    for method in ("similarity", AFFINE):
        path, found, _ = fit(
            print_of_plan / "floor.png", print_of_plan / "control.csv", tmp_path / method, method=method
        )
        with rasterio.open(path) as file, rasterio.open(print_of_plan / "floor.png") as plan:
            assert np.array_equal(file.read([1, 2, 3]), plan.read())
            assert (file.read(4) == 255).all()  # opaque; QGIS leaves the corners beside it clear
            a, b, c, d, e, f = list(file.transform)[:6]
        place = pixels @ np.array([[a, b], [d, e]]).T + (c, f)
        errors = np.hypot(*(place - columns).T)
        assert found.sigma_m == pytest.approx(0.5 / 56, rel=0.8)
        assert np.sqrt(np.mean(errors**2)) < 1.5 * found.rms_m
        assert errors.max() < 0.03


def test_a_page_of_a_pdf(tmp_path):
    """A page of 2 by 1 inch with a black bar, as small a PDF as the format allows; at 100 dots an inch 200 by 100 pixels."""
    if gdal.GetDriverByName("PDF") is None:
        pytest.skip("this GDAL reads no PDF")
    stream = b"0 0 0 rg 36 18 72 36 re f"
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 144 72] /Contents 4 0 R /Resources << >> >>",
        b"<< /Length %d >>\nstream\n%s\nendstream" % (len(stream), stream),
    ]
    body, places = b"%PDF-1.4\n", []
    for number, text in enumerate(objects, 1):
        places.append(len(body))
        body += b"%d 0 obj\n%s\nendobj\n" % (number, text)
    table = b"".join(b"%010d 00000 n \n" % place for place in places)
    end = b"xref\n0 5\n0000000000 65535 f \n%strailer\n<< /Size 5 /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (
        table,
        len(body),
    )
    (tmp_path / "page.pdf").write_bytes(body + end)
    pairs = tmp_path / "pairs.csv"
    pairs.write_text("point_id,pixel_column,pixel_row,site_x_m,site_y_m\n1,0,0,10,20\n2,200,0,12,20\n3,200,100,12,19\n")
    path, found, _ = fit(tmp_path / "page.pdf", pairs, tmp_path / "out", dots_per_inch=100.0)
    assert found.rms_m < 1e-9
    with rasterio.open(path) as file:
        assert (file.width, file.height) == (200, 100)
        dark = file.read(1) < 128
        assert file.transform.c == pytest.approx(10)
        assert file.transform.a == pytest.approx(0.01)
    rows, columns = np.nonzero(dark)
    # The bar: 36 to 108 points from the left, 18 to 54 from below.
    assert (columns.min(), columns.max() + 1) == pytest.approx((50, 150), abs=1)
    assert (rows.min(), rows.max() + 1) == pytest.approx((25, 75), abs=1)
    with pytest.raises(SurveyError, match=r"page 7 of page\.pdf cannot be read"):
        fit(tmp_path / "page.pdf", pairs, tmp_path / "out", page_number=7)


def test_a_drawing_that_cannot_be_read_leaves_the_earlier_result(dxf, tmp_path):
    fit(dxf, tmp_path / "pairs.csv", tmp_path / "out")
    before = {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}
    for name, content, words in (
        ("floor.dxf", b"AutoCAD Binary DXF\r\n\x1a\x00", "binary DXF"),
        ("floor.dxf", b"no drawing at all", "cannot be read|is not a readable DXF|nothing that can be drawn"),
        ("floor.dwg", b"AC1027", "must be DXF, PNG"),
    ):
        (tmp_path / name).write_bytes(content)
        with pytest.raises((SurveyError, ProcessingError), match=words):
            fit_drawing_step(
                tmp_path / name, pairs_from_rows(plans.read_rows(tmp_path / "pairs.csv"), False), tmp_path / "out"
            )
    (tmp_path / "floor.png").write_bytes(b"no picture")
    table = tmp_path / "pixels.csv"
    table.write_text("point_id,pixel_column,pixel_row,site_x_m,site_y_m\n1,0,0,100,50\n2,9,0,109,50\n")
    with pytest.raises(SurveyError, match="cannot be read as a picture"):
        fit(tmp_path / "floor.png", table, tmp_path / "out")
    assert {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()} == before
