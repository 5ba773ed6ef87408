"""What goes to other processes and into files comes back bit by bit, and nothing else comes out of a file."""

import io
import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inslab.processing.area.compute import AreaResult
from inslab.processing.area.plain_data import from_bytes, to_bytes
from inslab.processing.items.model import Item, Pick
from inslab.processing.radar.model import AreaDepths, DepthVolume, EchoUse, SlabBase, WaveSpeed
from inslab.processing.survey.model import Finding


def full_result():
    random = np.random.default_rng(3)
    axis = np.linspace(0, 1, 7)
    speed = WaveSpeed("A", 0.1 + 1e-17, 1 / 3, 1.2, 0.01, "m", 0.3, ("ä",), (EchoUse("e", 0.1, True, math.nan, "r"),))
    return AreaResult(
        "A",
        speed,
        SlabBase("A", axis, axis, random.random((7, 7)), np.full((7, 7), np.nan)),
        DepthVolume("A", axis, axis, axis, random.random((7, 7, 7)).astype(np.float32)),
        AreaDepths(None, np.float64(0.25), np.float32(0.1)),
        [Pick("p", "i", "A", "l", *random.random(5), np.int64(-1), 20.0, math.nan)],
        [Item("i", ("A",), random.random((4, 3)), {"bar": 1 / 7, "unknown": 6 / 7}, 0.9, 0.004, 0.003, 5, "why <so>")],
        [Finding("warning", "area A", "look")],
        [("warn", "look")],
        seconds={"detect": 1.5},
    )


def test_a_result_comes_back_with_the_same_bits():
    one = full_result()
    two = from_bytes(to_bytes(one))
    assert to_bytes(two) == to_bytes(one)
    assert two.volume.strength_db.dtype == np.float32
    assert two.volume.strength_db.tobytes() == one.volume.strength_db.tobytes()
    assert two.base.thickness_m.tobytes() == one.base.thickness_m.tobytes()
    assert two.items[0].vertices_m.tobytes() == one.items[0].vertices_m.tobytes()
    assert list(two.items[0].kind_probabilities.items()) == list(one.items[0].kind_probabilities.items())
    assert (two.speed.speed_m_ns, two.speed.warnings) == (one.speed.speed_m_ns, ("ä",))
    assert math.isnan(two.speed.echoes[0].speed_m_ns)
    # numpy 2 writes the kind of a number around it.
    assert repr(two.picks) == re.sub(r"np\.\w+64\(([^)]*)\)", r"\1", repr(one.picks))


@given(number=st.floats(allow_nan=False, width=64))
@settings(max_examples=300, deadline=None)
def test_every_number_comes_back(number):
    back = from_bytes(to_bytes([number, {"x": (number,)}]))
    assert np.array(back[0]).tobytes() == np.array(number).tobytes()
    assert back[1]["x"] == (number,)


def test_what_is_no_plain_data_is_refused():
    with pytest.raises(TypeError, match="no plain data"):
        to_bytes(object())


def test_every_changed_bit_of_a_file_is_noticed():
    content = to_bytes(full_result())
    random = np.random.default_rng(5)
    same = to_bytes(from_bytes(content))
    noticed = 0
    for place in random.integers(0, len(content), 400):
        spoilt = bytearray(content)
        spoilt[place] ^= 1 << int(random.integers(8))
        try:
            back = from_bytes(bytes(spoilt))
        except ValueError:
            noticed += 1
        else:
            assert to_bytes(back) == same  # a bit of the zip file that carries nothing, as the time of a member
    assert noticed > 300


@pytest.mark.parametrize("part", [0.0, 0.1, 0.5, 0.99])
def test_a_cut_file_is_noticed(part):
    content = to_bytes(full_result())
    with pytest.raises(ValueError, match="data"):
        from_bytes(content[: int(part * len(content))])


def test_a_pickle_is_not_opened(tmp_path):
    class Trap:
        def __reduce__(self):
            return (tmp_path.joinpath("sprung").write_text, ("x",))

    file = io.BytesIO()
    np.savez(file, text=np.array([Trap()], object), digest=np.zeros(32, np.uint8))
    with pytest.raises(ValueError, match="no data of Inslab"):
        from_bytes(file.getvalue())
    assert not (tmp_path / "sprung").exists()
