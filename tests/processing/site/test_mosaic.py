"""Resampling onto the north-up grid, blending of areas, and what the GeoTIFFs carry."""

import tracemalloc

import numpy as np
import pytest

from inslab.processing.common.errors import Cancelled
from inslab.processing.common.monitor import Monitor
from inslab.processing.site import mosaic
from inslab.processing.site.crs import GridTie, local_crs_wkt, tied_crs_wkt
from inslab.processing.site.frame import FITTED, AreaFit
from inslab.processing.site.geotiff import Band, GridReader, GridWriter, depth_bands, restamp
from inslab.processing.site.grid import SiteGrid

rasterio = pytest.importorskip("rasterio")

X = np.linspace(0.0, 1.0, 101)
Y = np.linspace(0.0, 0.6, 61)


def fit_of(angle=0.0, shift=(0.0, 0.0), mirrored=False):
    return AreaFit("A", FITTED, angle, np.array(shift, float), mirrored)


def sources(folder, names, qualities=None):
    return [mosaic.Source(folder / f"{name}.tif", name, (qualities or {}).get(name, 1.0)) for name in names]


def write(path, grid, cube, bands):
    with GridWriter(path, grid, bands, local_crs_wkt()) as writer:
        writer.write(cube)


@pytest.mark.parametrize("mirrored", [False, True])
def test_a_plane_survives_turning_shifting_and_mirroring(mirrored):
    """Bilinear interpolation is exact on a plane, so every cell can be compared with its own position."""
    fit = fit_of(0.6, (12.3, -4.5), mirrored)
    values = (3.0 * X[None, :] + 7.0 * Y[:, None])[:, :, None] * [1.0, -2.0]
    grid, cube = mosaic.resample(fit, X, Y, values, 0.01)
    centres = grid.centres_m()
    local = fit.to_local(centres.reshape(-1, 2)).reshape(centres.shape)
    inside = (local[..., 0] >= 0) & (local[..., 0] <= 1) & (local[..., 1] >= 0) & (local[..., 1] <= 0.6)
    expected = 3.0 * local[..., 0] + 7.0 * local[..., 1]
    assert cube[0][inside] == pytest.approx(expected[inside], abs=1e-5)
    assert cube[1][inside] == pytest.approx(-2 * expected[inside], abs=1e-5)
    assert np.isnan(cube[:, ~inside]).all()
    assert inside.sum() * 1e-4 == pytest.approx(0.6, rel=0.02)


def test_nothing_is_made_up_beside_a_hole():
    values = np.ones((61, 101, 1))
    values[30, 50] = np.nan
    _, cube = mosaic.resample(fit_of(shift=(0.005, 0.005)), X, Y, values, 0.01)  # cell centres fall on cell centres
    assert np.isnan(cube[0]).sum() == 1
    _, cube = mosaic.resample(fit_of(), X, Y, values, 0.01)  # each cell centre lies between four
    assert np.isnan(cube[0]).sum() == 4


def test_strength_is_interpolated_as_amplitude():
    x, y = np.array([0.0, 0.01]), np.array([0.0, 0.01])
    strength = np.array([0.0, 20.0])[None, :, None] * np.ones((2, 1, 1))  # amplitudes 1 and 10
    _, cube = mosaic.resample_strength(fit_of(), x, y, strength, 0.01)
    assert cube[0, 0, 0] == pytest.approx(20 * np.log10(5.5), abs=1e-4)


def test_grids_share_one_lattice():
    grid = SiteGrid.around([[0.037, -0.012], [0.1, 0.2]], 0.01)
    assert (grid.left, grid.top, grid.columns, grid.rows) == (3, 20, 7, 22)
    both = SiteGrid.union([grid, SiteGrid(-5, 4, 2, 2, 0.01)])
    assert (both.left, both.top, both.columns, both.rows) == (-5, 20, 15, 22)
    assert grid.offset_in(both) == (0, 8)


def test_a_slice_file_says_what_it_holds(tmp_path):
    path = tmp_path / "A.tif"
    grid = SiteGrid(10000, 5000, 300, 280, 0.01)
    cube = np.full((3, 280, 300), np.nan, np.float32)
    cube[:, 40, 50] = [1.0, 2.0, 3.0]
    write(path, grid, cube, depth_bands([0.005, 0.015, 0.045]))
    with rasterio.open(path) as file:
        assert file.descriptions[:2] == ("0.000-0.010 m", "0.010-0.020 m")
        assert file.units == ("dB", "dB", "dB")
        assert file.nodata == -9999
        assert file.interleaving.value == "BAND"
        assert file.profile["tiled"]
        assert file.crs.to_wkt().startswith('PROJCS["Site grid (local, not tied)"')
        assert file.bounds == pytest.approx((100.0, 47.2, 103.0, 50.0))
        assert file.index(100.505, 49.595) == (40, 50)
        assert file.read(2, masked=True).count() == 1
        assert file.tags(2)["depth_max_m"] == "0.0200"
        assert file.overviews(1) == [2]
    assert [entry.name for entry in tmp_path.iterdir()] == ["A.tif"]  # no part file, no side file to lose
    reader = GridReader(path)
    assert reader.grid == grid
    assert np.array_equal(reader.read(0, 0, 280, 300), cube, equal_nan=True)


def test_a_failed_write_leaves_the_earlier_file(tmp_path):
    path = tmp_path / "A.tif"
    grid = SiteGrid(0, 10, 10, 10, 0.01)
    write(path, grid, np.ones((1, 10, 10), np.float32), depth_bands([0.005]))
    before = path.read_bytes()

    def fail():
        with GridWriter(path, grid, depth_bands([0.005]), local_crs_wkt()):
            raise Cancelled("stop")

    with pytest.raises(Cancelled):
        fail()
    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["A.tif"]


def test_overlapping_areas_blend_without_a_seam(tmp_path):
    bands = depth_bands([0.005])
    write(tmp_path / "a.tif", SiteGrid(0, 100, 200, 100, 0.01), np.full((1, 100, 200), 10.0, np.float32), bands)
    write(tmp_path / "b.tif", SiteGrid(100, 100, 200, 100, 0.01), np.full((1, 100, 200), 20.0, np.float32), bands)
    grid = mosaic.write_mosaic(sources(tmp_path, "ab"), tmp_path / "m.tif", local_crs_wkt()).grid
    assert (grid.columns, grid.rows) == (300, 100)
    middle = GridReader(tmp_path / "m.tif").read(50, 0, 1, 300)[0, 0]
    assert (middle[:100] == 10).all()
    assert (middle[200:] == 20).all()
    assert (np.diff(middle) >= 0).all()
    assert np.abs(np.diff(middle)).max() < 0.5  # no step where an area ends
    assert middle[149:151].mean() == pytest.approx(15.0, abs=0.1)


def test_areas_far_apart_and_of_unlike_depth(tmp_path):
    shallow, deep = depth_bands([0.005, 0.015]), depth_bands([0.005, 0.015, 0.025])
    rng = np.random.default_rng(3)
    one, two = (rng.integers(0, 40, shape).astype(np.float32) for shape in ((2, 30, 40), (3, 20, 25)))
    write(tmp_path / "a.tif", SiteGrid(7, 2000, 40, 30, 0.01), one, shallow)
    write(tmp_path / "b.tif", SiteGrid(1900, 100, 25, 20, 0.01), two, deep)
    grid = mosaic.write_mosaic(sources(tmp_path, "ab"), tmp_path / "m.tif", local_crs_wkt()).grid
    merged = GridReader(tmp_path / "m.tif")
    assert merged.bands == deep
    cube = merged.read(0, 0, grid.rows, grid.columns)
    assert np.array_equal(cube[:2, :30, :40], one)
    assert np.isnan(cube[2, :30, :40]).all()
    assert np.array_equal(cube[:, -20:, -25:], two)
    assert np.isfinite(cube[0]).sum() == 30 * 40 + 20 * 25
    assert (tmp_path / "m.tif").stat().st_size < 200_000  # empty blocks are not stored


def test_thickness_keeps_a_tenth_of_a_millimetre(tmp_path):
    bands = (Band("thickness", "m"), Band("sigma", "m"))
    cube = np.stack([np.full((5, 5), 0.2503, np.float32), np.full((5, 5), 0.0031, np.float32)])
    write(tmp_path / "base.tif", SiteGrid(0, 5, 5, 5, 0.01), cube, bands)
    assert GridReader(tmp_path / "base.tif").read(0, 0, 5, 5) == pytest.approx(cube, abs=5e-5)


def test_a_mosaic_can_be_cancelled(tmp_path):
    write(tmp_path / "a.tif", SiteGrid(0, 10, 10, 10, 0.01), np.ones((1, 10, 10), np.float32), depth_bands([0.005]))
    with pytest.raises(Cancelled):
        mosaic.write_mosaic(
            sources(tmp_path, "a"), tmp_path / "m.tif", local_crs_wkt(), monitor=Monitor(cancelled=lambda: True)
        )
    assert not (tmp_path / "m.tif").exists()


def test_a_raster_keeps_the_crs_of_a_tied_grid_and_can_be_given_another(tmp_path):
    """What a GeoTIFF cannot hold itself lies beside it; no second file is left once it can."""
    pytest.importorskip("pyproj")
    tied = tied_crs_wkt("Hall", "EPSG:25832", GridTie(691000.0, 5335000.0, 0.4, 0.9999))
    cube = np.arange(50, dtype=np.float32).reshape(1, 5, 10)
    path = tmp_path / "a.tif"
    with GridWriter(path, SiteGrid(0, 5, 10, 5, 0.01), depth_bands([0.005]), tied) as writer:
        writer.write(cube)
    assert sorted(file.name for file in tmp_path.iterdir()) == ["a.tif", "a.tif.aux.xml"]
    with rasterio.open(path) as file:
        assert "Affine parametric" in file.crs.to_wkt(version="WKT2_2019")
    restamp(path, local_crs_wkt())
    assert [file.name for file in tmp_path.iterdir()] == ["a.tif"]
    restamp(path, tied)
    with rasterio.open(path) as file:
        assert "Affine parametric" in file.crs.to_wkt(version="WKT2_2019")
    assert np.array_equal(GridReader(path).read(0, 0, 5, 10), cube)


def test_areas_are_levelled_and_each_cell_says_where_it_comes_from(tmp_path):
    """Three areas in a row over one pattern, recorded 0, 4 and -2 dB too strong: after levelling they agree but for their mean."""
    random = np.random.default_rng(4)
    pattern = random.normal(10, 6, (4, 60, 300)).astype(np.float32)
    bands = depth_bands([0.005, 0.015, 0.025, 0.035])
    for name, left, offset in (("a", 0, 0.0), ("b", 80, 4.0), ("c", 180, -2.0)):
        part = pattern[:, :, left : left + 120] + random.normal(0, 1, (4, 60, 120)) + offset
        write(tmp_path / f"{name}.tif", SiteGrid(left, 60, 120, 60, 0.01), part.astype(np.float32), bands)
    result = mosaic.write_mosaic(
        sources(tmp_path, "abc"), tmp_path / "m.tif", local_crs_wkt(), origin_path=tmp_path / "o.tif", level=True
    )
    # Mean of the three is 2/3 dB; holding offsets near zero costs a few per cent.
    assert result.offsets_db == pytest.approx((2 / 3, 2 / 3 - 4, 2 / 3 + 2), abs=0.3)
    cube = GridReader(tmp_path / "m.tif").read(0, 0, 60, 300)
    error = cube - pattern - np.float32(2 / 3)
    for columns in (slice(10, 70), slice(130, 170), slice(210, 290)):
        assert abs(np.median(error[:, 5:-5, columns])) < 0.3
    origin = GridReader(tmp_path / "o.tif")
    assert dict(origin.bands[0].tags) == {"area_1": "a", "area_2": "b", "area_3": "c"}
    middle = origin.read(30, 0, 1, 300)[0, 0]
    assert [int(middle[column]) for column in (40, 99, 101, 150, 189, 191, 250)] == [1, 1, 2, 2, 2, 3, 3]


def test_what_is_levelled_keeps_the_mean_and_the_areas_own_contrast(tmp_path):
    one = np.linspace(0, 30, 5000, dtype=np.float32).reshape(1, 50, 100)
    write(tmp_path / "a.tif", SiteGrid(0, 50, 100, 50, 0.01), one, depth_bands([0.005]))
    write(tmp_path / "b.tif", SiteGrid(300, 50, 100, 50, 0.01), one + 5, depth_bands([0.005]))
    result = mosaic.write_mosaic(sources(tmp_path, "ab"), tmp_path / "m.tif", local_crs_wkt(), level=True)
    assert result.offsets_db == (0.0, 0.0)  # nothing in common, nothing to level by
    assert GridReader(tmp_path / "m.tif").read(0, 0, 50, 100) == pytest.approx(one, abs=0.04)


def test_the_better_area_counts_more(tmp_path):
    bands = depth_bands([0.005])
    for name, value in (("a", 10.0), ("b", 20.0)):
        write(tmp_path / f"{name}.tif", SiteGrid(0, 50, 50, 50, 0.01), np.full((1, 50, 50), value, np.float32), bands)
    mosaic.write_mosaic(sources(tmp_path, "ab", {"a": 3.0}), tmp_path / "m.tif", local_crs_wkt())
    assert GridReader(tmp_path / "m.tif").read(25, 25, 1, 1)[0, 0, 0] == pytest.approx(12.5, abs=0.05)


def test_memory_does_not_grow_with_the_number_of_areas(tmp_path):
    """Peak of what Python and numpy allocate for a mosaic of 8 and of 60 areas of 1 m by 1 m, 10 slices."""
    random = np.random.default_rng(0)
    bands = depth_bands(0.005 + 0.01 * np.arange(10))
    names = [f"a{number:02d}" for number in range(60)]
    for number, name in enumerate(names):
        row, column = divmod(number, 10)
        cube = random.normal(5, 3, (10, 100, 100)).astype(np.float32)
        write(tmp_path / f"{name}.tif", SiteGrid(85 * column, 100 + 85 * row, 100, 100, 0.01), cube, bands)
    peaks = []
    for chosen in (names[:8], names):
        tracemalloc.start()
        mosaic.write_mosaic(
            sources(tmp_path, chosen), tmp_path / "m.tif", local_crs_wkt(), origin_path=tmp_path / "o.tif", level=True
        )
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.5 * peaks[0]
