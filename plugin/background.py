"""Background tasks of our own."""

from qgis.core import QgsTask


def quiet_flags():
    """Flags of a task that a user did not start: it can be cancelled, and QGIS says nothing when it is done (from 3.26)."""
    flags = QgsTask.Flag.CanCancel
    for name in ("Hidden", "Silent"):
        if hasattr(QgsTask.Flag, name):
            flags |= getattr(QgsTask.Flag, name)
    return flags
