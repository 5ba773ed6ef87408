"""The table `mats` and its part of the report, from items of two areas of one mat and of a soffit."""

import re

import pytest
import stand_ins

from inslab.processing.steps.processsurvey import process_survey_step
from inslab.processing.store.geopackage import read_layer


def test_mats_of_each_plane_are_listed_and_reported(tmp_path, monkeypatch):
    """Bars at 50, 150 and 300 mm in both areas of the top, in the soffit at other depths; spacing (100 + 150) / 2 = 125 mm.

    The joined bars run from 10.0 to 10.7 m: 15 stations of 50 mm each.
    """
    calls = stand_ins.stand_in(monkeypatch)
    top = [((0.0, y, 0.05), (0.4, y, 0.05)) for y in (0.05, 0.15, 0.30)]
    soffit = [((x, 0.0, 0.03 + x / 100), (x, 0.4, 0.03 + x / 100)) for x in (0.1, 0.2, 0.3)]
    calls.bars.update(A1=top, A2=top, S1=soffit, W1=[], LOST=top)
    result = process_survey_step(stand_ins.write_survey(tmp_path / "survey"), tmp_path / "out")
    soffit_mat, top_mat = [row for _, row in read_layer(result.survey_path, "mats")]
    assert (top_mat["mat_id"], top_mat["level"], top_mat["surface"], top_mat["area_ids"]) == (
        "M2",
        "L1",
        "top",
        "A1,A2",
    )
    assert top_mat["item_ids"] == "A1-1,A1-2,A1-3"
    assert (top_mat["bar_count"], top_mat["length_m"]) == (3, pytest.approx(2.1))
    spacings = [top_mat[f"spacing_{name}_m"] for name in ("mean", "min", "max")]
    assert spacings == pytest.approx([0.125, 0.100, 0.150], abs=1e-4)
    assert top_mat["direction_deg"] == pytest.approx(0.0, abs=0.01)
    assert soffit_mat["direction_deg"] == pytest.approx(90.0, abs=0.01)
    assert soffit_mat["cover_mean_m"] == pytest.approx(0.032)
    assert (soffit_mat["cover_min_m"], soffit_mat["cover_q05_m"]) == pytest.approx((0.031, 0.031))
    text = result.report_path.read_text(encoding="utf-8")
    assert re.search(r"125 ± \d+ \(100 to 150\)", text)
    assert "Mats of bars" in text


def test_without_a_mat_the_report_says_so(tmp_path, monkeypatch):
    stand_ins.stand_in(monkeypatch)
    result = process_survey_step(stand_ins.write_survey(tmp_path / "survey"), tmp_path / "out")
    assert read_layer(result.survey_path, "mats") == []
    assert "No mat was found." in result.report_path.read_text(encoding="utf-8")
