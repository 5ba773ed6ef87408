"""A file system of its own with hardly any room."""

import os
import subprocess
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def small_disk(folder: Path, size: str):
    """Makes `folder` a disk of this size (``400k``) for the block; skips the test where only root could."""
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size}", "none", str(folder)]
    if os.name == "nt" or os.geteuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        pytest.skip("only root can make a small file system")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)
