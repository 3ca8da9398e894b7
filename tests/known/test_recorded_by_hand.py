"""A recording that is played once or again and again: when it is heard, how loud, and in which bits."""

import numpy as np
import pytest

from framesim.disturbance import CanLink, RecordedWaveform
from framesim.errors import BadArgument

RATE = 1e6
VOLTS = np.array([0.0, 3.0, 3.0, 3.0, 0.0])  # 4 us: two bits of 500 kbit/s


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("recordings")
    np.save(made / "short.npy", VOLTS)
    return str(made)


def recording(folder, **keys):
    return RecordedWaveform(file="short.npy", rate_hz=RATE, folder=folder, **keys)


def test_a_loss_in_decibels_is_one_of_voltage(folder):
    # 20 dB of a voltage is a factor of ten
    assert recording(folder, loss_db=20).waveform.volts == pytest.approx(VOLTS / 10)
    assert recording(folder, loss_db=6).waveform.volts == pytest.approx(VOLTS * 0.5012, rel=1e-3)


def test_a_recording_is_heard_from_its_first_sample_to_its_last(folder):
    once = recording(folder, start_s=1e-3)
    for stretch, heard in (
        ((0, 0.9e-3), 0),
        ((0, 1e-3), 1),
        ((1.001e-3, 1.002e-3), 1),
        ((1.004e-3, 2), 1),
        ((2, 3), 0),
    ):
        assert once.played(*stretch).tolist() == [0.0] * heard
    again = recording(folder, start_s=1e-3, repeat_s=0.1)
    assert again.played(0.0, 0.3) == pytest.approx([0.0, 0.1, 0.2])
    assert again.played(0.0, 0.25) == pytest.approx([0.0, 0.1, 0.2])
    assert again.played(-0.1, 0.0) == pytest.approx([-0.1])
    assert again.played(0.5, 0.55).tolist() == pytest.approx([0.5])
    assert again.played(0.51, 0.55).size == 0


def test_what_is_heard_twice_in_a_stretch_stands_there_twice(folder):
    again = recording(folder, repeat_s=6e-6)
    found = again.over(0.0, RATE, 12).volts
    assert found == pytest.approx([0, 3, 3, 3, 0, 0, 0, 3, 3, 3, 0, 0], abs=1e-9)


def test_it_may_not_begin_again_before_it_has_ended(folder):
    assert recording(folder, repeat_s=4e-6).lasts_s == pytest.approx(4e-6)
    with pytest.raises(BadArgument, match=r"repeat_s=3\.9e-06: must not be less than the recording's 4e-06 s"):
        recording(folder, repeat_s=3.9e-6)


def test_a_walk_holds_its_own_bits_and_no_other(folder):
    again, link = recording(folder, repeat_s=8e-6), CanLink(sample_point=0.5)

    def levels(bits):
        return np.ones(bits.size, np.uint8)

    # Bits of 2 us, looked at in their middle: bits 0 and 1 of every four are recessive under 3 V.
    whole = again.walk(link, 0, 12, 1, levels)
    assert whole.flipped.tolist() == [0, 1, 4, 5, 8, 9]
    pieces = [again.walk(link, first, first + 1, 1, levels).flipped.tolist() for first in range(12)]
    assert [bit for piece in pieces for bit in piece] == whole.flipped.tolist()
    assert [first for first, piece in enumerate(pieces) if piece] == whole.flipped.tolist()
