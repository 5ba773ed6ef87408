"""How GDAL tells of failures: by codes and None, wherever it runs."""

from contextlib import ExitStack, contextmanager

from .packages import import_gdal

FIXED_DATE = "2000-01-01T00:00:00.000Z"


class GdalFailure(Exception):
    """GDAL refused something; the text is its reason. Never shown as it is: whoever knows the file makes a sentence of it."""


def done(code: int) -> None:
    """Raises `GdalFailure` where a function of GDAL gave an error code."""
    if code != 0:
        raise _failure()


def given(thing):
    """What a function of GDAL gave; raises `GdalFailure` where that is None."""
    if thing is None:
        raise _failure()
    return thing


def _failure() -> GdalFailure:
    gdal, _, _ = import_gdal()
    return GdalFailure(gdal.GetLastErrorMsg())


@contextmanager
def closing_dataset(dataset):
    """Closes a dataset that is written to, whatever happens. Raises `GdalFailure` where it is None or closing it failed.

    Closed by name: the traceback of an error would keep it open beyond the time when its file is removed.
    """
    given(dataset)
    try:
        yield dataset
    except BaseException:
        _close(dataset)  # what it says to that follows from the failure
        raise
    done(_close(dataset))


def _close(dataset) -> int:
    gdal, _, _ = import_gdal()
    if hasattr(dataset, "Close"):
        return dataset.Close()
    # Before GDAL 3.8 only the last error tells how closing went.
    gdal.ErrorReset()
    dataset.Destroy()
    return int(gdal.GetLastErrorType() >= gdal.CE_Failure)


@contextmanager
def quiet_gdal():
    """GDAL prints nothing, tells of failures by codes and None, knows no date but a fixed one and writes no file beside another.

    Raises `GdalFailure` where GDAL raises nevertheless. `ogr.UseExceptions()` is not called: inside QGIS it would change how GDAL
    behaves for every other plugin.
    """
    gdal, _, _ = import_gdal()
    # Where there is a setting for this thread alone, others are left in peace.
    set_option = getattr(gdal, "SetThreadLocalConfigOption", gdal.SetConfigOption)
    # PAM off: newer GDAL would leave a file of statistics beside a GeoPackage that was merely read.
    options = {"OGR_CURRENT_DATE": FIXED_DATE, "GDAL_PAM_ENABLED": "NO"}
    earlier = {name: gdal.GetConfigOption(name) for name in options}
    for name, value in options.items():
        set_option(name, value)
    gdal.ErrorReset()
    gdal.PushErrorHandler("CPLQuietErrorHandler")
    try:
        with without_gdal_exceptions():
            yield
    except RuntimeError as error:
        # Before GDAL 3.7, where somebody has switched exceptions on for the whole program.
        if str(error) != gdal.GetLastErrorMsg():
            raise  # not GDAL's
        raise GdalFailure(str(error)) from error
    finally:
        gdal.PopErrorHandler()
        for name, value in earlier.items():
            set_option(name, value)


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
