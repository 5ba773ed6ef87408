"""Known depths: the table, the speed that follows from a depth, and how it is weighed against the radar's own."""

from dataclasses import replace

import numpy as np
import pytest
import surveys
from synthetic import LAG_NS, REFERENCE_NS, SPEED_M_NS, area_over, wave_speed

from inslab.processing.common.errors import SurveyError
from inslab.processing.items.known_depths import KnownDepth, read_known_depths, use_known_depths
from inslab.processing.radar.imaging import find_base
from inslab.processing.radar.model import WaveSpeed
from inslab.processing.radar.preprocessing import prepare_area
from inslab.processing.speed.combination import SpeedEvidence, combine_with_known
from inslab.processing.survey.read import read_survey

HEAD = "area_id,feature,local_x_m,local_y_m,depth_m,sigma_m,speed_m_ns,sigma_m_ns"
BARS = [
    ((0.20, 0.0, 0.05), (0.0, 1.0, 0.0), -0.3),
    ((0.42, 0.0, 0.05), (0.0, 1.0, 0.0), -0.3),
    ((0.0, 0.22, 0.065), (1.0, 0.0, 0.0), -0.3),
]
SLAB_M = 0.24


def table(folder, *rows, head=HEAD):
    (folder / "known_depths.csv").write_text("\n".join([head, *rows]), encoding="utf-8")
    findings = []
    return read_known_depths(folder, ["A1"], findings), findings


def test_rows_of_each_feature(tmp_path):
    rows, findings = table(
        tmp_path,
        "A1,item,0.2,0.1,0.105,0.002,,",
        "A1,Base,0.3,0.2,0.24,,,",
        "A1,speed,,,,,0.112,0.001",
    )
    assert not findings
    assert [(one.feature, one.value, one.sigma) for one in rows] == [
        ("item", 0.105, 0.002),
        ("base", 0.24, 0.003),
        ("speed", 0.112, 0.001),
    ]


def test_columns_that_no_row_needs_may_be_missing(tmp_path):
    rows, findings = table(tmp_path, "A1,speed,0.11", head="area_id,feature,speed_m_ns")
    assert not findings
    assert rows[0].sigma == pytest.approx(0.0022)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("B9,item,0.2,0.1,0.1,,,", "there is no scan area B9"),
        ("A1,item,0.2,,0.1,,,", "needs local_y_m"),
        ("A1,speed,,,0.1,,,", "needs speed_m_ns"),
        ("A1,hole,0.2,0.1,0.1,,,", "must be one of item, base, speed"),
        ("A1,item,0.2,0.1,100,,,", "between 0.005 and 3"),
    ],
)
def test_rows_that_cannot_be_used_are_named(tmp_path, row, words):
    rows, (finding,) = table(tmp_path, row)
    assert not rows
    assert finding.where == "known_depths.csv row 2"
    assert words in finding.text


def test_missing_or_broken_tables(tmp_path):
    findings = []
    assert read_known_depths(tmp_path, ["A1"], findings) == []
    assert not findings
    rows, findings = table(tmp_path, "A1,0.2", head="area_id,depth_m")
    assert not rows
    assert "lacks the column feature" in findings[0].text
    with pytest.raises(SurveyError, match=r"other\.csv is missing"):
        read_known_depths(tmp_path, ["A1"], [], tmp_path / "other.csv")


@pytest.fixture(scope="module")
def slab():
    return area_over(BARS, base_m=SLAB_M)[0]


def radar_speed(error, sigma=0.02):
    """What the radar says, wrong by `error`; time zero is right."""
    return replace(wave_speed(sigma), speed_m_ns=SPEED_M_NS * (1 + error))


def adjusted(slab, first, *known):
    return use_known_depths(slab, first, find_base(slab, first, cell_m=0.05), known)


@pytest.mark.parametrize("error", [-0.03, 0.03])
def test_a_core_through_the_slab_gives_its_speed(slab, error):
    core = KnownDepth("A1", "base", (0.3, 0.2), SLAB_M, 0.001, "row 2")
    speed, findings = adjusted(slab, radar_speed(error, sigma=0.06), core)
    assert not findings
    assert speed.speed_m_ns == pytest.approx(SPEED_M_NS, rel=0.008)
    assert abs(speed.speed_m_ns - SPEED_M_NS) < 1.96 * speed.sigma_m_ns
    assert speed.sigma_m_ns < 0.02 * SPEED_M_NS
    assert speed.method == "known, 1 known"
    # The thickness itself is known better than before.
    assert speed.depth_sigma_m(SLAB_M) < 0.005


def test_holes_down_to_bars_give_their_speed(small_survey):
    prepared = prepare_area(read_survey(small_survey).areas[0])
    true = surveys.SPEED_M_NS
    first = WaveSpeed("A1", 1.04 * true, 0.05 * true, surveys.TIME_ZERO_NS, 0.008, "radar")
    holes = [
        KnownDepth("A1", "item", (place + 0.01, 0.25), depth, 0.001, f"row {number}")
        for number, (place, depth) in enumerate(surveys.BARS["x"], 2)
    ]
    nowhere = KnownDepth("A1", "item", (0.50, 0.28), 0.05, 0.001, "row 9")
    below = KnownDepth("A1", "base", (3.0, 0.2), surveys.SLAB_THICKNESS_M, 0.001, "row 10")
    base = find_base(prepared, first, cell_m=0.05)
    speed, findings = use_known_depths(prepared, first, base, [*holes, nowhere, below])
    assert [found.where for found in findings] == ["row 9", "row 10"]
    assert "no slab base is seen" in findings[1].text
    assert "no item is seen within 30 mm at x 0.500, y 0.280 of area A1" in findings[0].text
    assert speed.method == "radar, 3 known"
    # In the near field depths of these bars are read 1.5 mm too deep, which is 3 % of 50 mm.
    assert speed.speed_m_ns == pytest.approx(true, rel=0.03)
    assert abs(speed.speed_m_ns - true) < 1.96 * speed.sigma_m_ns


def test_other_areas_rows_are_passed_over(slab):
    first = radar_speed(0.0)
    assert adjusted(slab, first, KnownDepth("A2", "speed", (np.nan, np.nan), 0.12, 0.001, "row 2")) == (first, [])


def test_a_known_speed_counts_by_inverse_variance():
    first = radar_speed(0.0, sigma=0.02)
    stated = SpeedEvidence("stated", SPEED_M_NS + 0.002, 0.001, 0.0)
    result = combine_with_known(first, [stated])
    weights = np.array([first.sigma_m_ns**-2, 0.001**-2])
    assert result.speed_m_ns == pytest.approx(weights @ [SPEED_M_NS, SPEED_M_NS + 0.002] / weights.sum())
    assert result.sigma_m_ns == pytest.approx(weights.sum() ** -0.5)
    assert result.time_zero_ns == first.time_zero_ns
    assert result.warnings == ()


def test_depths_at_two_levels_tell_speed_and_time_zero_apart():
    """Time zero wrong by 30 ps and speed by 2 %: echoes of flat reflectors at 0.05 and 0.30 m, both known to 0.1 mm."""
    first = replace(radar_speed(0.02, sigma=0.05), time_zero_ns=REFERENCE_NS - LAG_NS + 0.03, sigma_time_zero_ns=0.05)
    evidence = []
    for depth in (0.05, 0.30):
        time = 2 * depth / SPEED_M_NS - 0.03
        speed = 2 * depth / time
        evidence.append(SpeedEvidence("depth", speed, 0.0001 / depth * speed, speed / time))
    result = combine_with_known(first, evidence)
    assert result.speed_m_ns == pytest.approx(SPEED_M_NS, rel=0.002)
    assert result.time_zero_ns == pytest.approx(REFERENCE_NS - LAG_NS, abs=0.003)
    # The errors of the two go together, so that depths near the known ones are known better than either alone would allow.
    assert result.correlation > 0.5
    assert result.depth_sigma_m(0.05) < 0.0005


def test_a_known_depth_far_off_is_told_and_widens_the_sigma():
    first = radar_speed(0.0, sigma=0.01)
    result = combine_with_known(
        first, [SpeedEvidence("the known depth of 120 mm (row 2)", 1.1 * SPEED_M_NS, 0.001, 0.0)]
    )
    (sentence,) = result.warnings
    assert sentence.startswith(
        "the known depth of 120 mm (row 2) gives 0.1210 m/ns, but the echoes give 0.1100 m/ns, 7.4 sigmas"
    )
    assert result.sigma_m_ns > 5 * 0.0007


def test_depths_whose_errors_are_alike_count_less_than_independent_ones():
    from inslab.processing.items.known_depths import correlation_of_known

    first = WaveSpeed("A1", 0.11, 0.004, 1.2, 1e-6, "")
    two = [SpeedEvidence(name, 0.113, 0.002, 0.0) for name in ("a", "b")]
    # By hand, thousandths of m/ns: 1 / (1/16 + 2/4) = 1.78 where independent; errors with the correlation r count as one of the
    # variance 4 (1 + r) / 2.
    assert combine_with_known(first, two).sigma_m_ns == pytest.approx(0.001 * np.sqrt(1 / (1 / 16 + 2 / 4)))
    r = 0.5 * 2.0**2 / (2.0**2 + 1.0**2)  # half of the radar's own variance is common at one depth
    correlation = correlation_of_known([0.1, 0.1], [0.002, 0.002], [0.001, 0.001])
    assert correlation == pytest.approx(np.array([[1.0, r], [r, 1.0]]))
    found = combine_with_known(first, two, correlation)
    variance = 1 / (1 / 16 + 1 / (2 * (1 + r)))
    assert found.sigma_m_ns == pytest.approx(0.001 * np.sqrt(variance))
    assert found.speed_m_ns == pytest.approx(0.11 + 0.003 * (1 - variance / 16))
