"""The script that compares verdicts with the truth: its own geometry by hand, and its tables."""

import numpy as np
import pytest


@pytest.fixture(scope="module")
def script():
    from inslab.sample_project import reliability

    return reliability


def test_true_distances_by_hand(script):
    bar = {"diameter_m": 0.02, script.LINE: [[0, 0, 0.05], [1, 0, 0.05]]}
    centres = np.array([[0.5, 0.0], [0.5, 0.05], [0.5, 0.05], [0.5, 0.0], [0.5, 0.9]])
    found = script.true_distances([bar], centres, np.full(5, 0.03), np.array([0.1, 0.1, 0.04, 0.02, 0.1]))
    # Through it; 50 mm less both radii; the same and 10 mm above; 30 mm above; further than anyone looks.
    np.testing.assert_allclose(found, [0.0, 0.025, np.hypot(0.025, 0.01), 0.03, np.inf], atol=1e-9)


def test_holes_lie_in_and_just_around_the_areas(script):
    from inslab.sample_project.scan_plan import AREAS

    for area in AREAS:
        entry = {"size_m": area.size_m, "rotation_deg": area.rotation_deg, "tx": area.shift_m[0], "ty": area.shift_m[1],
                 "mirrored": area.mirrored}  # fmt: skip
        part = {"areas": [entry], "slab": {"thickness_m": 0.26}}
        centres, diameters, depths = script.draw_holes(part, 500, np.random.default_rng(1))
        assert area.contains(centres, script.BEYOND_M + 1e-9).all()
        assert 0.5 < area.contains(centres).mean() < 0.9
        assert (depths <= 0.26).all()
        assert set(diameters) == set(script.DIAMETERS_M)


def test_the_tables(script, capsys):
    from inslab.processing.penetrations.check import Verdict

    verdicts = [Verdict("clear", None, None, None, 0.0, "."), Verdict("hits", "a", -0.1, 0.01, 0.97, "."),
                Verdict("unknown", None, None, None, 0.5, ".")]  # fmt: skip
    script.print_tables(verdicts, np.array([False, True, True]))
    text = capsys.readouterr().out
    assert "| clear | 1 | 0 | 0.0 |" in text
    assert "| hits | 1 | 1 | 100.0 |" in text
    assert "| 0.95 to 0.99 | 1 | 0.970 | 1.000 |" in text
    assert "0.5 to 0.6" not in text  # unknown holes are not in the second table


def test_missing_inputs_are_named(script, tmp_path, capsys):
    assert script.main([str(tmp_path), str(tmp_path)]) == 1
    assert "truth.json" in capsys.readouterr().err
    assert script.main([]) == 2
