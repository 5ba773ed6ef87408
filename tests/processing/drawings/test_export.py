"""Drawings that leave the office, opened again with programs that did not write them: ezdxf, OGR and Python's csv."""

import csv
from dataclasses import replace
from pathlib import Path

import grounds
import numpy as np
import pytest

from inslab.processing.common.errors import ProcessingError
from inslab.processing.common.packages import import_gdal
from inslab.processing.common.vocabulary.kinds import KINDS
from inslab.processing.drawings import layer_names
from inslab.processing.drawings.dxf import depth_words
from inslab.processing.reports.plane_content import DrawingChoice, GridChange, read_drawing
from inslab.processing.site.crs import GridTie, tied_crs_wkt
from inslab.processing.steps.exportdrawing import export_drawing_step
from inslab.processing.store.coordinate_system import restamp
from inslab.processing.store.geopackage import read_layer, read_metadata
from inslab.processing.store.schema import CRS_KEY

HOLES = [
    ((1.1, 1.0), {"penetration_id": "P1", "diameter_m": 0.1, "verdict": "hits"}),
    ((1.2, 0.5), {"penetration_id": "P2", "diameter_m": 0.05, "verdict": None}),
]
TIE = GridTie(691000.0, 5335000.0, 0.4, 0.9996)


@pytest.fixture
def survey(tmp_path):
    """The survey of `grounds`; items of its level, seen from the top: 15 bars, 2 more, a tendon."""
    return grounds.write_survey(tmp_path / "survey.gpkg")


@pytest.fixture
def tied(survey):
    """The same, tied to a national grid."""
    wkt = tied_crs_wkt("Hall", "EPSG:25832", TIE)
    restamp(survey, wkt, {CRS_KEY: wkt})
    return survey


def lines_with_ezdxf(path):
    """Layer to the polylines on it, (n, 3) each."""
    ezdxf = pytest.importorskip("ezdxf")
    document = ezdxf.readfile(path)
    assert not document.audit().errors
    found = {}
    for entity in document.modelspace():
        if entity.dxftype() == "POLYLINE":
            points = np.array([tuple(vertex.dxf.location) for vertex in entity.vertices])
        elif entity.dxftype() == "LWPOLYLINE":
            flat = np.array(entity.get_points("xy"))
            points = np.column_stack([flat, np.full(len(flat), entity.dxf.elevation)])
        else:
            continue
        found.setdefault(entity.dxf.layer, []).append(points)
    return document, found


def lines_with_ogr(path):
    _, ogr, _ = import_gdal()
    dataset = ogr.Open(str(path))
    found = {}
    for feature in dataset.GetLayer(0):
        shape = feature.GetGeometryRef()
        if shape.GetGeometryName() == "LINESTRING":
            flat = shape.GetPoints()
            points = np.array([point if len(point) == 3 else (*point, 0.0) for point in flat])
            found.setdefault(feature["Layer"], []).append(points)
    return found


@pytest.mark.parametrize("read", [lambda path: lines_with_ezdxf(path)[1], lines_with_ogr], ids=["ezdxf", "ogr"])
def test_every_vertex_of_every_item_is_in_the_drawing(survey, tmp_path, read):
    export_drawing_step(survey, dxf_path=tmp_path / "a.dxf")
    found = read(tmp_path / "a.dxf")
    bars = found["S-BAR---E-E---------0000-0050"]
    expected = [line for line, row in read_layer(survey, "items") if row["kind"] == "bar" and row["surface"] == "top"]
    assert len(bars) == len(expected) == 17
    for line, other in zip(expected, bars):
        np.testing.assert_allclose(other, line, atol=1e-9)
    (tendon,) = found["S-TENDONE-E---------0100-0150"]
    np.testing.assert_allclose(tendon, [(0, 1.5, -0.1), (3, 1.5, -0.1)], atol=1e-9)


def test_a_sloping_item_keeps_its_heights(survey, tmp_path):
    drawing = read_drawing(survey, "top", None, DrawingChoice())
    slope = np.array([(0, 0, -0.05), (1, 0, -0.06), (2, 0.1, -0.09)])
    drawing.items.append((slope, {**drawing.items[0][1], "kind": "tendon", "depth_min_m": 0.05, "depth_max_m": 0.09}))
    from inslab.processing.drawings.dxf import write_dxf

    write_dxf(tmp_path / "a.dxf", drawing, GridChange(drawing, national=False))
    for found in (lines_with_ezdxf(tmp_path / "a.dxf")[1], lines_with_ogr(tmp_path / "a.dxf")):
        np.testing.assert_allclose(found["S-TENDONE-E---------0050-0100"][0], slope, atol=1e-9)


def test_unit_layers_and_texts(survey, tmp_path):
    export_drawing_step(survey, holes=HOLES, dxf_path=tmp_path / "a.dxf")
    document, found = lines_with_ezdxf(tmp_path / "a.dxf")
    assert document.header["$INSUNITS"] == 6  # metres (reference of the DXF format, published by its maker)
    # The kinds' layers have colours of their own (indices of the 255 colours of the format).
    assert document.layers.get("S-TENDONE-E---------0100-0150").color == 30
    texts = {}
    for entity in document.modelspace().query("MTEXT"):
        texts.setdefault(entity.dxf.layer, []).append(entity.plain_text())
    assert texts["S-BAR---T-E---------0000-0050"] == ["40 ±4"] * 17
    assert texts["S-HOLE--T-N---------HITS"] == ["P1 HITS AN ITEM"]
    assert texts["S-HOLE--T-N---------NOTCHECKED"] == ["P2 not checked"]
    assert texts["S-SCAN1-T-E---------TO0250"] == ["scanned one way only to 250 mm: UNKNOWN"]
    notes = " ".join(texts["S-NOTE--T-E---------"])
    assert "does not guarantee detection" in notes
    assert "responsible engineer" in notes
    assert "NOT ALL" not in notes
    # P1's circle: radius 0.05 m about 1.1, 1.0.
    circle = next(ring for ring in found["S-HOLE--E-N---------HITS"] if len(ring) > 10)
    np.testing.assert_allclose(np.hypot(*(circle[:, :2] - [1.1, 1.0]).T), 0.05, atol=1e-9)
    assert (tmp_path / "a.dxf").read_text(encoding="latin-1").startswith("999\nScanning does not guarantee")


def test_what_is_hatched_is_all_that_was_not_scanned_both_ways(survey, tmp_path):
    export_drawing_step(survey, dxf_path=tmp_path / "a.dxf")
    _document, found = lines_with_ezdxf(tmp_path / "a.dxf")
    strokes = found["S-UNSEENH-E---------"]
    middles = np.array([stroke[:, :2].mean(axis=0) for stroke in strokes])
    # Newer GEOS keeps a vertex where a stroke touches an edge.
    samples = np.vstack([np.linspace(stroke[0, :2], stroke[-1, :2], 21)[1:-1] for stroke in strokes])
    inside_a1 = np.all((samples > [1e-6, 1e-6]) & (samples < [3 - 1e-6, 2 - 1e-6]), axis=1)
    assert not inside_a1.any()  # scanned both ways
    assert np.any((middles[:, 0] > 3) & (middles[:, 0] < 4) & (middles[:, 1] > 0) & (middles[:, 1] < 2))  # one way


def test_kinds_and_depths_are_chosen_and_what_is_left_out_is_said(survey, tmp_path):
    choice = DrawingChoice(("bar",), 0.0, 0.08)
    drawing = export_drawing_step(survey, choice=choice, dxf_path=tmp_path / "a.dxf")
    assert len(drawing.placed) == 17
    document, _found = lines_with_ezdxf(tmp_path / "a.dxf")
    notes = " ".join(text.plain_text() for text in document.modelspace().query("MTEXT"))
    assert "NOT ALL ITEMS ARE DRAWN: 1 of another kind" in notes
    assert not read_drawing(survey, "top", None, DrawingChoice(("bar",), 0.05, 0.08)).placed


def test_national_grid(tied, tmp_path):
    """The tie written out by hand: E = east + k (x cos t - y sin t), N = north + k (x sin t + y cos t)."""
    export_drawing_step(tied, national=True, dxf_path=tmp_path / "a.dxf", points_path=tmp_path / "p.csv")
    cos, sin = 0.9996 * np.cos(0.4), 0.9996 * np.sin(0.4)
    expected = [(691000 + cos * x - sin * 1.5, 5335000 + sin * x + cos * 1.5, -0.1) for x in (0.0, 3.0)]
    (tendon,) = lines_with_ezdxf(tmp_path / "a.dxf")[1]["S-TENDONE-E---------0100-0150"]
    np.testing.assert_allclose(tendon, expected, atol=1e-6)
    rows = list(csv.DictReader((tmp_path / "p.csv").open(encoding="utf-8", newline="")))
    last = next(row for row in rows if row["point_id"] == "T1-7")
    np.testing.assert_allclose([float(last["x_m"]), float(last["y_m"])], expected[1][:2], atol=1e-4)
    assert "ETRS89 / UTM zone 32N" in (tmp_path / "p-read-me.txt").read_text(encoding="utf-8")


def test_points_to_set_out(survey, tmp_path):
    export_drawing_step(survey, holes=HOLES, points_path=tmp_path / "p.csv", spacing_m=0.8)
    with (tmp_path / "p.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    assert rows[0] == ["point_id", "x_m", "y_m", "depth_m", "code"]
    # A bar of 2 m: three stretches of at most 0.8 m, both ends among the points.
    first = [row for row in rows if row[0].startswith("B01-")]
    assert [row[2] for row in first] == ["0.0000", "0.6667", "1.3333", "2.0000"]
    assert {row[3] for row in first} == {"0.0400"}
    assert {row[4] for row in rows[1:]} == {"BAR", "TENDON", "HOLE-HITS", "HOLE-NOTCHECKED"}
    assert "does not guarantee" in (tmp_path / "p-read-me.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize(("surface", "height"), [("top", "11.9600"), ("soffit", "12.0300")])
def test_points_with_heights(survey, tmp_path, surface, height):
    """Below a slab's top by 40 mm, above its soffit by 30 mm."""
    export_drawing_step(survey, surface, points_path=tmp_path / "p.csv", surface_height_m=12.0)
    rows = list(csv.DictReader((tmp_path / "p.csv").open(encoding="utf-8", newline="")))
    assert rows[0]["height_m"] == height


def test_a_geopackage_of_the_chosen_layers(tied, tmp_path):
    export_drawing_step(tied, choice=DrawingChoice(("tendon",)), holes=HOLES, geopackage_path=tmp_path / "part.gpkg")
    ((line, row),) = read_layer(tmp_path / "part.gpkg", "items")
    before = next((line, row) for line, row in read_layer(tied, "items") if row["kind"] == "tendon")
    np.testing.assert_array_equal(line, before[0])
    assert {name: row[name] for name in before[1]} == before[1]
    assert [row["penetration_id"] for _, row in read_layer(tmp_path / "part.gpkg", "penetrations")] == ["P1", "P2"]
    assert any("guarantee" in row["text"] for _, row in read_layer(tmp_path / "part.gpkg", "read_me"))
    _, ogr, _ = import_gdal()
    dataset = ogr.Open(str(tmp_path / "part.gpkg"))
    assert "Hall" in dataset.GetLayerByName("items").GetSpatialRef().ExportToWkt(["FORMAT=WKT2_2019"])
    assert read_metadata(tmp_path / "part.gpkg", CRS_KEY) == read_metadata(tied, CRS_KEY)


def test_a_part_can_be_exported_again(survey, tmp_path):
    """Reading does not depend on the file being a survey's."""
    export_drawing_step(survey, geopackage_path=tmp_path / "part.gpkg")
    export_drawing_step(tmp_path / "part.gpkg", dxf_path=tmp_path / "a.dxf")
    assert len(lines_with_ezdxf(tmp_path / "a.dxf")[1]["S-BAR---E-E---------0000-0050"]) == 17


def test_same_input_same_files(survey, tmp_path):
    for name in ("a", "b"):
        export_drawing_step(
            survey, dxf_path=tmp_path / f"{name}.dxf", geopackage_path=tmp_path / f"{name}.gpkg", holes=HOLES
        )
    for suffix in (".dxf", ".gpkg"):
        assert (tmp_path / f"a{suffix}").read_bytes() == (tmp_path / f"b{suffix}").read_bytes()


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"level": "Level 9"}, "levels there: Level 1"),
        ({"surface": "wall"}, "Choose the level"),
        ({"national": True}, "not tied to a national grid"),
        ({"band_m": 0.0005, "dxf_path": "a.dxf"}, "whole millimetres"),
        ({"spacing_m": 0.0, "points_path": "a.csv"}, "greater than zero"),
    ],
)
def test_refusals(survey, values, sentence):
    with pytest.raises(ProcessingError, match=sentence):
        export_drawing_step(survey, **values)


def test_names_have_the_fields_of_the_standard():
    """ISO 13567-2: agent 2, element 6, presentation 2, status 1, sector 4, phase 1, projection 1, scale 1, work package 2
    characters (widths from memory)."""
    name = layer_names.layer_name("BAR", layer_names.GRAPHICS, "0050-0100")
    assert (name[:2], name[2:8], name[8:10], name[10], name[11:20], name[20:]) == (
        "S-", "BAR---", "E-", "E", "---------", "0050-0100",
    )  # fmt: skip
    codes = [*(kind.code for kind in KINDS.values()), *layer_names.OTHER_PENS]
    assert len(set(codes)) == len(codes)
    assert max(map(len, codes)) <= 6


@pytest.mark.parametrize(
    ("depth", "band"), [(0.0, "0000-0050"), (0.05, "0050-0100"), (0.149, "0100-0150"), (None, "NODEPTH")]
)
def test_depth_bands(depth, band):
    assert layer_names.depth_band(depth, 0.05) == band


def test_an_item_of_unknown_depth_may_lie_anywhere():
    choice = DrawingChoice(kinds=("bar",), from_depth_m=0.05, to_depth_m=0.1)
    row = {"kind": "bar", "depth_min_m": None, "depth_max_m": None}
    assert choice.holds(row)
    assert not choice.holds({**row, "kind": "tendon"})
    depths = [(0.01, 0.049), (0.01, 0.05), (0.1, 0.2), (0.101, 0.2)]
    assert [choice.holds({**row, "depth_min_m": a, "depth_max_m": b}) for a, b in depths] == [False, True, True, False]


def test_a_wall_has_no_place_in_a_national_grid(tied):
    drawing = replace(read_drawing(tied, "top", None, DrawingChoice()), surface="wall")
    with pytest.raises(ProcessingError, match="A wall is drawn as an elevation"):
        GridChange(drawing, national=True)


def test_depths_in_words():
    row = {"depth_min_m": 0.0476, "depth_max_m": 0.0484, "sigma_depth_m": 0.005}
    assert depth_words(row) == "48 ±5"
    assert depth_words({**row, "depth_max_m": 0.085, "sigma_depth_m": None}) == "48-85"
    assert depth_words({**row, "depth_max_m": None}) == "depth ?"


def test_the_page_on_drawings_names_every_kind():
    page = (Path(__file__).resolve().parents[3] / "docs" / "drawings.md").read_text(encoding="utf-8")
    codes, words = (
        ", ".join(f"`{kind.code}`" for kind in KINDS.values()),
        ", ".join(kind.word for kind in KINDS.values()),
    )
    assert f"| {codes} | {words} |" in page
    assert f"| `code` | {codes};" in page
