"""How much room a disk has."""

import shutil

LEAST_BYTES = 2**16  # one block of a raster, some pages of a database


def has_no_room(folder) -> bool:
    """Has the disk of `folder` less room left than any file needs that Inslab writes?"""
    try:
        return shutil.disk_usage(folder).free < LEAST_BYTES
    except OSError:
        return False
