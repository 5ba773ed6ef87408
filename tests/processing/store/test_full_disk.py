"""Files that GDAL writes where there is no room for them: it closes what it could not write without a word.

None may take the place of an earlier file, at any size of the disk between nothing and enough.
"""

import grounds
import numpy as np
import pytest
from small_disk import small_disk

from inslab.processing.common.errors import ProcessingError
from inslab.processing.drawings.onto_grid import write_picture
from inslab.processing.site.crs import local_crs_wkt
from inslab.processing.site.drawing_fit import DrawingFit
from inslab.processing.site.geotiff import GridReader, GridWriter, depth_bands, restamp
from inslab.processing.site.grid import SiteGrid
from inslab.processing.steps.exportdrawing import export_drawing_step

pytest.importorskip("osgeo")
pytest.importorskip("rasterio")
FULL = "cannot be written, because the disk is full; free some space, then run this again"


def refusal(write):
    """The sentence with which it is refused, an empty one where it is written."""
    try:
        write()
    except ProcessingError as error:
        return str(error)
    return ""


def write_raster(path, cube):
    bands = depth_bands(0.005 + 0.01 * np.arange(len(cube)))
    with GridWriter(
        path, SiteGrid(0, cube.shape[1], cube.shape[2], cube.shape[1], 0.01), bands, local_crs_wkt()
    ) as writer:
        writer.write(cube)


@pytest.mark.parametrize("cells", [200, 300])  # of 300 cells there are overviews
@pytest.mark.parametrize("size", ["64k", "300k", "600k", "900k", "2M", "4M"])
def test_a_raster_is_whole_or_refused(tmp_path, size, cells):
    cube = np.random.default_rng(1).uniform(-40, 0, (5, cells, cells)).astype(np.float32)
    with small_disk(tmp_path / "disk ü", size) as disk:
        path = disk / "slices.tif"
        path.write_bytes(b"earlier")
        said = refusal(lambda: write_raster(path, cube))
        assert size in ("600k", "900k") or bool(said) == (size not in ("2M", "4M"))
        assert [left.name for left in disk.iterdir()] == ["slices.tif"]
        if said:
            assert said == f"{path} {FULL}."
            assert path.read_bytes() == b"earlier"
        else:
            assert GridReader(path).read(0, 0, cells, cells) == pytest.approx(cube, abs=0.05)


def test_a_raster_that_cannot_be_stamped_anew_stays(tmp_path):
    cube = np.random.default_rng(1).uniform(-40, 0, (5, 200, 200)).astype(np.float32)
    with small_disk(tmp_path / "disk", "600k") as disk:
        path = disk / "slices.tif"
        write_raster(path, cube)
        before = path.read_bytes()
        assert 2 * len(before) > 600_000
        with pytest.raises(ProcessingError, match=r"The coordinate system of .*slices\.tif cannot be changed"):
            restamp(path, local_crs_wkt("Level 2"))
        assert path.read_bytes() == before
        assert [left.name for left in disk.iterdir()] == ["slices.tif"]


def test_a_raster_that_cannot_be_made_says_why(tmp_path):
    cube = np.zeros((1, 4, 4), np.float32)
    (tmp_path / "taken.tif").mkdir()
    with pytest.raises(ProcessingError, match=r"taken\.tif cannot be written \(Is a directory\); choose another place"):
        write_raster(tmp_path / "taken.tif", cube)
    (tmp_path / "a file").write_text("")
    with pytest.raises(ProcessingError, match=r"a\.tif cannot be written \(.*\); choose another place"):
        write_raster(tmp_path / "a file" / "a.tif", cube)
    (tmp_path / ".b.tif.part.tif").mkdir()  # GDAL's own refusal, which names the hidden file
    with pytest.raises(ProcessingError, match=r"b\.tif cannot be written \(no raster can be created there\); choose"):
        write_raster(tmp_path / "b.tif", cube)


@pytest.mark.parametrize("size", ["8k", "32k", "4M"])
def test_a_dxf_is_whole_or_refused(tmp_path, size):
    survey = grounds.write_survey(tmp_path / "survey.gpkg")
    export_drawing_step(survey, dxf_path=tmp_path / "whole.dxf")
    with small_disk(tmp_path / "disk", size) as disk:
        path = disk / "drawing.dxf"
        path.write_bytes(b"earlier")
        said = refusal(lambda: export_drawing_step(survey, dxf_path=path))
        assert bool(said) == (size in ("8k", "32k"))
        assert "No space left" in said or not said
        assert [left.name for left in disk.iterdir()] == ["drawing.dxf"]
        assert path.read_bytes() == (b"earlier" if said else (tmp_path / "whole.dxf").read_bytes())


@pytest.mark.parametrize("size", ["32k", "128k", "256k", "8M"])
def test_a_scanned_plan_is_whole_or_refused(tmp_path, size):
    import rasterio

    colours = np.random.default_rng(1).integers(0, 255, (3, 300, 300), dtype=np.uint8)
    with rasterio.open(tmp_path / "plan.png", "w", driver="PNG", width=300, height=300, count=3, dtype="uint8") as file:
        file.write(colours)
    fit = DrawingFit("similarity", (), np.diag([0.01, -0.01]), np.zeros(2), np.zeros((0, 2)), None, ())
    with small_disk(tmp_path / "disk", size) as disk:
        path = disk / "plan.tif"
        said = refusal(lambda: write_picture(tmp_path / "plan.png", fit, path, local_crs_wkt()))
        assert bool(said) == (size != "8M")
        if said:
            assert "cannot be written" in said
            assert list(disk.iterdir()) == []
        else:
            with rasterio.open(path) as file:
                assert np.array_equal(file.read([1, 2, 3]), colours)
