"""A survey and stand-ins for radar and detection, for tests of the chain."""

import pytest


@pytest.fixture
def folder(tmp_path):
    """A survey folder whose line files are tiny and hold noise."""
    import stand_ins

    return stand_ins.write_survey(tmp_path / "job <7> & ä")
