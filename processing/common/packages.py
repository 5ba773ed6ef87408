"""Packages that only some steps need: imported where they are used, and what is missing is said in one sentence."""

from contextlib import contextmanager

from .errors import MissingPackageError
from .language import tr


def missing_packages(*names: str) -> MissingPackageError:
    """The error that says which Python packages a step lacks, and how each system gets them."""
    return MissingPackageError(
        tr(
            "This step needs Python packages that are not installed: {names}. Install them (Windows: {files} in the "
            "OSGeo4W setup; macOS: 'pip3 install {words}' with the pip3 in QGIS.app/Contents/MacOS/bin; Linux: the "
            "distribution's {files}) and restart QGIS.",
            names=tr(" and ").join(names),
            files=" ".join(f"python3-{name}" for name in names),
            words=" ".join(names),
        )
    )


@contextmanager
def packages():
    """Says which package is missing, where one is."""
    try:
        yield
    except ModuleNotFoundError as error:
        if error.name.startswith(__name__.split(".")[0]):
            raise  # a part of Inslab itself
        raise missing_packages(error.name.split(".")[0]) from error


def import_gdal():
    """GDAL's modules (gdal, ogr, osr), or a `MissingPackageError` that says what to install."""
    try:
        from osgeo import gdal, ogr, osr
    except ImportError as error:
        raise MissingPackageError(
            tr(
                "Layers and polygons need GDAL's Python module (osgeo), which comes with QGIS; run Inslab with "
                "QGIS's own Python or install it (Debian: python3-gdal)."
            )
        ) from error
    return gdal, ogr, osr


def import_pyproj():
    """pyproj, or a `MissingPackageError` that says what to install."""
    try:
        import pyproj
    except ImportError as error:
        raise MissingPackageError(
            tr(
                "Tying a site grid needs the Python package pyproj, which comes with QGIS; run Inslab with QGIS's "
                "own Python or install it (Debian: python3-pyproj)."
            )
        ) from error
    return pyproj


def import_rasterio():
    """rasterio, or a `MissingPackageError` that says what to install."""
    try:
        import rasterio
    except ImportError as error:
        raise missing_packages("rasterio") from error
    return rasterio


def import_matplotlib():
    """Figure and canvas of matplotlib (never its pyplot, which keeps state), or a `MissingPackageError` that says what to do."""
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError as error:
        raise missing_packages("matplotlib") from error
    return Figure, FigureCanvasAgg
