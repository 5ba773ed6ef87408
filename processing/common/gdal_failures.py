"""How GDAL tells of failures: by None, wherever it runs."""

from contextlib import ExitStack, contextmanager


@contextmanager
def without_gdal_exceptions():
    """GDAL tells of failures by None, in this thread, also where QGIS or a plugin has switched exceptions on.

    With exceptions on GDAL also raises at what PROJ merely logs, as it does when a derived projected CRS has no older form.
    GDAL before 3.7 has no such switch for one thread; there exceptions are off unless somebody turns them on.
    """
    from osgeo import gdal, ogr, osr

    with ExitStack() as stack:
        for module in (gdal, ogr, osr):
            if hasattr(module, "ExceptionMgr"):
                stack.enter_context(module.ExceptionMgr(useExceptions=False))
        yield
