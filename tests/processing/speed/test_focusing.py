"""Focusing of deep echoes at their true speed, on hyperbolas from shortest paths."""

from dataclasses import replace

import numpy as np
import pytest
from synthetic import SPEED_M_NS, area_over, wave_speed

from inslab.processing.speed.focusing import check_focus, focus_speed

DEEP = [
    ((0.22, 0.0, 0.16), (0.0, 1.0, 0.0), -0.2),
    ((0.45, 0.0, 0.19), (0.06, np.sqrt(1 - 0.06**2), 0.0), -0.2),
    ((0.0, 0.25, 0.17), (1.0, 0.0, 0.0), -0.2),
]


@pytest.fixture(scope="module")
def deep():
    return area_over(DEEP, size_m=(0.7, 0.5))[0]


@pytest.mark.parametrize("error", [-0.05, 0.0, 0.05])
def test_deep_bars_focus_at_their_speed(deep, error):
    first = replace(wave_speed(), speed_m_ns=SPEED_M_NS * (1 + error))
    value, sigma = focus_speed(deep, first)
    assert value == pytest.approx(SPEED_M_NS, rel=0.03)
    assert 0.03 < sigma / value < 0.06


def test_agreement_is_kept_beside_the_speed_without_a_word(deep):
    checked = check_focus(deep, wave_speed())
    assert checked.focus_speed_m_ns == pytest.approx(SPEED_M_NS, rel=0.03)
    assert checked.speed_m_ns == SPEED_M_NS
    assert checked.warnings == ()


def test_disagreement_is_told(deep):
    wrong = replace(wave_speed(sigma=0.01), speed_m_ns=1.14 * SPEED_M_NS)
    checked = check_focus(deep, wrong)
    assert checked.speed_m_ns == wrong.speed_m_ns
    (sentence,) = checked.warnings
    assert "focus" in sentence
    assert "known depth" in sentence


def test_objects_near_the_base_are_not_asked(deep):
    assert focus_speed(deep, wave_speed(), base_m=0.17) is None


def test_shallow_bars_alone_say_nothing():
    shallow = [(start[:2] + (0.05,), direction, amplitude) for start, direction, amplitude in DEEP]
    prepared, speed = area_over(shallow, size_m=(0.7, 0.5))
    checked = check_focus(prepared, speed)
    assert np.isnan(checked.focus_speed_m_ns)
    assert checked == speed
