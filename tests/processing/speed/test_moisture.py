"""What is said of an antenna or a wave speed that cannot be trusted."""

from types import SimpleNamespace

import numpy as np
import pytest

from inslab.processing.radar.model import WaveSpeed
from inslab.processing.speed.combination import WORST_MISFIT, _antenna_warnings, _checked, combine_with_known
from inslab.processing.speed.moisture import moisture_words


@pytest.mark.parametrize(
    ("permittivity", "words"),
    [
        (3.9, "unusually low"),
        (4.0, "dry"),
        (7.9, "mature"),
        (8.0, "moist"),
        (18.2, "very wet"),
        (18.3, "unusually high"),
    ],
)
def test_permittivity_in_words(permittivity, words):
    assert words in moisture_words(permittivity)


def antenna(misfit=0.0, is_ricker=True, peak_ghz=1.5):
    pulse = SimpleNamespace(is_ricker=is_ricker, order=2.5, phase_rad=np.radians(40), peak_ghz=peak_ghz)
    area = SimpleNamespace(antenna_separation_m=0.06, centre_frequency_mhz=1500.0, centre_frequency_ghz=1.5)
    return SimpleNamespace(area=area), SimpleNamespace(misfit=misfit, pulse=pulse)


def test_a_good_antenna_says_nothing():
    assert _antenna_warnings(*antenna()) == ()
    assert _antenna_warnings(*antenna(misfit=WORST_MISFIT, peak_ghz=1.21)) == ()


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"misfit": WORST_MISFIT + 0.001}, "separation 60 mm, frequency 1500 MHz as stated"),
        ({"is_ricker": False}, "a Gaussian's derivative of order 2.5, turned by 40 degrees"),
        ({"peak_ghz": 1.19}, "is about 1190 MHz, not 1500 MHz as stated"),
        ({"peak_ghz": 1.88}, "is about 1880 MHz"),
    ],
)
def test_a_doubtful_antenna_is_said(values, words):
    (sentence,) = _antenna_warnings(*antenna(**values))
    assert words in sentence


def test_a_speed_of_no_concrete_is_said_once():
    """In air it is 0.2998 m/ns."""
    good = WaveSpeed("A", 0.1, 0.001, 1.0, 0.01, "given", 0.0)
    assert _checked(good) is good
    odd = _checked(WaveSpeed("A", 0.2998, 0.001, 1.0, 0.01, "given", 0.0))
    assert "0.300 m/ns is not plausible for concrete" in odd.warnings[0]
    assert _checked(odd) is odd


def test_nothing_known_changes_nothing():
    speed = WaveSpeed("A", 0.1, 0.001, 1.0, 0.01, "given", 0.0)
    assert combine_with_known(speed, ()) is speed
