"""Opening the concrete: one item is proven, its area's wave speed and all depths in it get better, old values stay in history."""

import numpy as np
import pytest
from records import POINTS_OF_B, SEPARATION_M, SPEED_M_NS, bar, mat, merge, rows, survey, verify

from inslab.processing.common.errors import ProcessingError
from inslab.processing.radar.model import WaveSpeed
from inslab.processing.record.speeds import moved_depths
from inslab.processing.record.verification import Verification

SCANNED, OPENED, LATER = "2031-05-04", "2031-09-01", "2033-01-01"


def core(item_id="I1", depth_m=0.1, **values):
    return Verification(item_id, "verified", "core", OPENED, "B. Driller", depth_m, 0.001, **values)


def deep_survey(**values):
    """Bars at 0.1 m whose depths hang on the wave speed, and one at 0.05 m."""
    bars = mat(4, depth_m=0.1, sigma_own_depth_m=0.001, sigma_speed_m=0.004)
    bars.append(bar("A1-9", (0.5, 0.2), (0.5, 2.8), 0.05, sigma_own_depth_m=0.001, sigma_speed_m=0.002))
    return survey(bars, SCANNED, **values)


def test_one_core_corrects_the_whole_area(store):
    merge(store, deep_survey())
    before = rows(store, "items")
    report, _ = verify(store, core(depth_m=0.104))
    assert report.verification_id == "V1"
    area = rows(store, "scan_areas")["S1/A1"]
    # By hand, variances in mm²: speed (100 / 0.11 * 0.004)^2 = 13.2, time zero (110 / 2 * 0.01)^2 = 0.3, core and bar
    # 1^2 + 1.5^2 = 3.25; of the 4 mm, 13.2 / 16.8 are the speed's (3.1 mm), and of its variance 1 - 13.2 / 16.8 is left. The path
    # is a little longer than twice the depth, which separates the dipoles: within a tenth. Half of the bars' own variance
    # (1 mm, 1.5 mm at least for the opened one) is common to them.
    assert area["survey_speed_m_ns"] == SPEED_M_NS
    assert area["speed_m_ns"] == pytest.approx(SPEED_M_NS * 1.031, rel=0.002)
    assert area["sigma_m_ns"] == pytest.approx(0.004 * np.sqrt(1 - 13.2 / 16.8), rel=0.1)
    assert area["verified_by"] == "V1"
    items = rows(store, "items")
    for name in ("I2", "I3", "I4"):
        assert items[name]["depth_min_m"] == pytest.approx(0.1 + 0.004 * (13.5 + 0.5 * 1.0 * 1.5) / 16.8, abs=0.0003)
        assert items[name]["sigma_depth_m"] < 0.6 * before[name]["sigma_depth_m"]
        assert items[name]["status"] == "detected"
    assert items["I5"]["depth_min_m"] == pytest.approx(0.05 * 1.031, abs=0.0007)
    opened = items["I1"]
    assert opened["depth_min_m"] == pytest.approx(0.104, abs=0.0005)
    assert (opened["status"], opened["quality_level"], opened["confidence"]) == ("verified", "A", 1.0)
    assert (opened["verified_on"], opened["verified_by"]) == (OPENED, "B. Driller")
    # Nothing is lost: what the survey stated stays with the observations, and history tells what was believed.
    assert rows(store, "observations")["S1/A1-1"]["geom"][0][2] == -0.1
    assert rows(store, "observations")["S1/A1-2"]["depth_shift_m"] == pytest.approx(0.0032, abs=0.0003)
    assert rows(store, "items", SCANNED) == before
    assert rows(store, "coverage")["S1/1"]["depth_m"] == pytest.approx(0.2 * 1.031, abs=0.001)
    assert set(report.items) == {"I1", "I2", "I3", "I4", "I5"}


def test_several_cores_are_followed_as_far_as_their_covariances_say(store):
    bars = mat(4, depth_m=0.1, sigma_own_depth_m=0.002, sigma_speed_m=0.001)
    merge(store, survey(bars, SCANNED, survey_sigma_m_ns=0.001))
    for name in ("I1", "I2", "I3"):
        verify(store, core(name, 0.104))
    # By hand, variances in mm²: wave speed (100 / 0.11 * 0.001)^2 = 0.83, a fifth more for the separated dipoles, and time zero
    # 0.30 come to 1.29; of the bars' own 4, half is common. Conditioning one Gaussian on the three (covariance of any two
    # 1.29 + 2, variance of each 1.29 + 4 + 1) gives the fourth 3 (1.29 + 2) / (6.29 + 2 * 3.29) of the 4 mm. Taken for independent
    # by the wave speed, and for common besides, they would be followed by a fifth more.
    moved = rows(store, "items")["I4"]["depth_min_m"] - 0.1
    assert moved == pytest.approx(0.004 * 3 * 3.29 / (6.29 + 2 * 3.29), abs=0.0001)
    # Of the variance 5.29 + 0.01 or so, the same conditioning leaves 5.29 - 3 * 3.29^2 / (6.29 + 2 * 3.29).
    left = 5.29 - 3 * 3.29**2 / (6.29 + 2 * 3.29)
    assert rows(store, "items")["I4"]["sigma_depth_m"] == pytest.approx(0.001 * np.sqrt(left), rel=0.06)


def test_the_same_survey_again_after_a_core_changes_nothing(store):
    merge(store, deep_survey())
    verify(store, core(depth_m=0.106))
    before = rows(store, "items")
    _, changed = merge(store, deep_survey(), OPENED)
    assert changed.counts == {}
    _, changed = verify(store, core(depth_m=0.106))  # nor does the same core
    assert changed.counts == {}
    assert rows(store, "items") == before


def test_depths_get_truer_on_average(store):
    """Draws of surveys as their stated sigmas say: one core brings the error of the other bars down, and sigmas stay honest."""
    from inslab.processing.record.deriving import derive
    from inslab.processing.record.history import Book
    from inslab.processing.record.merging import merge_survey
    from inslab.processing.record.schema import KEPT
    from inslab.processing.record.verification import verify_item

    random = np.random.default_rng(4)
    assumed = WaveSpeed("A1", SPEED_M_NS, 0.004, 1.2, 0.01, "")
    depths = np.array([0.09, 0.12, 0.15, 0.18])
    before, after, ratios = [], [], []
    for _ in range(60):
        true = WaveSpeed("A1", SPEED_M_NS + random.normal(0, 0.004), 0, 1.2 + random.normal(0, 0.01), 0, "")
        stated = moved_depths(depths, SEPARATION_M, true, assumed) + random.normal(0, 0.002, 4)
        sigmas = assumed.depth_sigma_m(stated)
        bars = [
            bar(f"A1-{n + 1}", (0.3, 0.5 + 0.3 * n), (3.5, 0.5 + 0.3 * n), stated[n], sigma_speed_m=float(sigmas[n]))
            for n in range(4)
        ]
        book = Book({table.name: {} for table in KEPT})
        merge_survey(book, survey(bars, SCANNED))
        found = float(depths[2] + random.normal(0, 0.001))
        before += [
            row["depth_min_m"] - depth for row, depth in zip(book.rows("items"), depths) if row["item_id"] != "I3"
        ]
        verify_item(book, core("I3", found))
        others = [(row, depth) for row, depth in zip(book.rows("items"), depths) if row["item_id"] != "I3"]
        after += [row["depth_min_m"] - depth for row, depth in others]
        ratios += [(row["depth_min_m"] - depth) / row["sigma_depth_m"] for row, depth in others]
        derive(book)
    assert np.std(after) < 0.65 * np.std(before)
    assert 0.85 < np.mean(np.abs(ratios) < 1.96) <= 1.0


def test_a_known_depth_of_the_survey_is_not_counted_twice(store):
    merge(store, deep_survey(survey_method="direct wave and bar echoes, 1 known"))
    report, _ = verify(store, core(depth_m=0.101))
    assert report.areas == []
    assert any("known_depths.csv" in text for text in report.warnings)
    items = rows(store, "items")
    assert items["I2"]["depth_min_m"] == pytest.approx(0.1)
    assert items["I1"]["depth_min_m"] == pytest.approx(0.101, abs=0.0002)


def test_a_drawing_proves_an_item_but_no_wave_speed(store):
    merge(store, deep_survey())
    report, _ = verify(store, Verification("I1", "verified", "drawing", OPENED, "as built", 0.104, 0.004))
    assert report.areas == []
    item = rows(store, "items")["I1"]
    assert item["quality_level"] == "B"
    assert 0.1 < item["depth_min_m"] < 0.104


def test_a_refuted_item_stays_as_such_and_is_told_when_it_is_seen_again(store):
    merge(store, deep_survey())
    verify(store, Verification("I2", "refuted", "breakout", OPENED, "B. Driller"))
    assert rows(store, "items")["I2"]["status"] == "refuted"
    again = survey(mat(4, depth_m=0.1), LATER, points=POINTS_OF_B)
    report, _ = merge(store, again)
    item = rows(store, "items")["I2"]
    assert item["status"] == "refuted"
    assert "sees it again after it was refuted" in item["flag"]
    assert "I2" in report.flagged


def test_a_depth_beyond_both_uncertainties_is_told(store):
    merge(store, deep_survey())
    report, _ = verify(store, core(depth_m=0.125))
    assert "found at 125 mm where the record stated 100 ± 4 mm" in rows(store, "items")["I1"]["flag"]
    assert any("sigmas apart" in text for text in report.warnings)


def test_place_kind_and_photo_are_taken(store):
    merge(store, deep_survey())
    one = core(place_m=(1.0, 0.503), sigma_xy_m=0.001, kind="tendon", photo="photos/core1.jpg")
    verify(store, one)
    item = rows(store, "items")["I1"]
    y = np.array(item["geom"])[:, 1]
    # Weights by inverse variance by hand: sigma 2.83 mm of the item, 1 mm of the measurement: 8/9 of 3 mm.
    assert y == pytest.approx(np.full(len(y), 0.5 + 0.003 * 8 / 9), abs=1e-6)
    assert item["sigma_xy_m"] == pytest.approx(0.001 * np.sqrt(8 / 9), rel=1e-6)
    assert (item["kind"], item["kind_confidence"]) == ("tendon", 1.0)
    document = rows(store, "documents")["D1"]
    assert (document["path"], document["row_id"]) == ("photos/core1.jpg", "V1")


@pytest.mark.parametrize(
    ("one", "sentence"),
    [
        (core("I77"), "has no item I77"),
        (core(depth_m=-0.1), "is not possible"),
        (core(depth_m=1.0), r"depth of 1 m is not possible .* at 0\.100 m, since no wave .* check the number"),
        (core(place_m=(40.0, 0.5)), "m from item I1"),
        (core(sigma_xy_m=0.01), "needs the position"),
        (Verification("I1", "refuted", "core", OPENED, depth_m=0.1), "has no depth"),
        (Verification("I1", "verified", "core", "yesterday"), "is not a date"),
        (Verification("I1", "perhaps", "core", OPENED), "terms that the record knows"),
    ],
)
def test_what_cannot_be_is_refused_and_changes_nothing(store, one, sentence):
    merge(store, deep_survey())
    before = rows(store, "changes")
    with pytest.raises(ProcessingError, match=sentence):
        verify(store, Verification(**{**vars(one)}))
    assert rows(store, "changes") == before


@pytest.mark.parametrize(
    "values", [{"sigma_depth_m": 0.0}, {"sigma_depth_m": 1.0}, {"sigma_xy_m": -0.1, "place_m": (1.0, 0.5)}]
)
def test_an_uncertainty_that_cannot_be_is_refused(store, values):
    merge(store, deep_survey())
    with pytest.raises(ProcessingError, match="a 1-sigma must be above zero and below one metre"):
        verify(store, Verification("I1", "verified", "core", OPENED, **values))
