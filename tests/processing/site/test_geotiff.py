"""Sentences about rasters that cannot be written."""

import errno

import pytest

from inslab.processing.common.errors import ProcessingError
from inslab.processing.site import geotiff


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (OSError(errno.EROFS, "Read-only file system"), r"Read-only file system\); choose another place"),
        (OSError(errno.ENOSPC, "No space left on device"), "disk is full"),
        (OSError("a library that says no reason"), "disk is full"),
    ],
)
def test_a_medium_without_free_space_is_called_full_only_without_another_reason(tmp_path, monkeypatch, error, words):
    monkeypatch.setattr(geotiff, "has_no_room", lambda folder: True)
    with pytest.raises(ProcessingError, match=words), geotiff.failures_said(tmp_path / "a.tif"):
        raise error
