"""How far one edge shifts the sampling, worked out by hand: bits of 16 quanta of one second, looked at after 12.

The rules are those of CAN 2.0 (1991) Part B, bit timing, from memory: an edge from recessive to dominant shifts the
sampling by its distance from the nominal start of a bit, at most by the jump width, and once between two samples.
"""

import numpy as np
import pytest
from bitarray import bitarray

from framesim.disturbance import CanLink
from framesim.disturbance.resync import GRID_HZ, BitTiming, followed_bits, read_beside, samples_beside
from framesim.disturbance.waveform import Waveform

BIT_S, SAMPLE = 16.0, 0.75


def read(*edges, jump, stop_bits=7, first_level=1, start_s=0.0):
    """What is read of a level that changes at these seconds; the frame begins with the first edge."""
    bits = followed_bits(
        np.array(edges, float), first_level=first_level, start_s=start_s, stop_s=start_s + stop_bits * BIT_S,
        bit_s=BIT_S, sample_point=SAMPLE, timing=BitTiming(quanta=16, jump=jump),
    )  # fmt: skip
    return bits.to01()


# The frame begins dominant at 0, is recessive from 16 on and falls about 48, where bit 3 begins. Bit 4 is looked at at
# 76 unless shifted: a rise just before or behind the look tells when it came.
@pytest.mark.parametrize(
    ("fall", "jump", "looked_at"),
    [
        (46, 4, 74),  # early by two quanta: shifted by two, not by the whole jump
        (46, 2, 74),
        (46, 1, 75),  # at most by the jump
        (46, 0, 76),
        (50, 4, 78),  # late
        (51, 2, 78),
        (47.5, 4, 76),  # within a quantum of its place: as good as in place
        (48.5, 4, 76),
        (47, 4, 75),
        (49, 4, 77),
    ],
)
def test_an_edge_shifts_the_next_looks_by_its_distance_and_at_most_by_the_jump(fall, jump, looked_at):
    before = read(0, 16, fall, looked_at - 0.25, jump=jump)
    behind = read(0, 16, fall, looked_at + 0.25, jump=jump)
    assert before[:4] == behind[:4] == "0110"
    assert before[4] == "1"
    assert behind[4] == "0"


def test_of_two_falling_edges_between_two_looks_only_the_first_is_followed():
    # Falls at 46 (early by 2), rises at 47, falls at 51: bit 4 is looked at at 74, and not at 78 or 79.
    assert read(0, 16, 46, 47, 51, 73.75, jump=4)[3:5] == "01"
    assert read(0, 16, 46, 47, 51, 74.25, jump=4)[3:5] == "00"


def test_each_look_allows_another_edge_to_be_followed():
    # Early by 2 at 46: bit 3 begins there, bit 5 at 78. A fall at 76 is early by 2 once more: bit 5 begins at 76, is
    # looked at at 88, and bit 6 at 104.
    edges = (0, 16, 46, 60, 76)
    assert read(*edges, 103.75, jump=4)[:7] == "0110101"
    assert read(*edges, 104.25, jump=4)[:7] == "0110100"


def test_behind_a_dominant_look_no_edge_is_followed():
    # Dominant at the looks of bits 0 and 1; between them and the next a recessive pulse from 30 to 34, late by 2.
    assert read(0, 30, 34, 59.75, jump=4)[:4] == "0001"
    assert read(0, 30, 34, 60.25, jump=4)[:4] == "0000"


def test_the_edge_that_begins_the_frame_is_not_followed_again():
    # The comparator's first edge comes 3 quanta late: the bits stand where the frame began, not 3 later.
    assert read(3, 27.75, jump=4)[:2] == "01"
    assert read(3, 28.25, jump=4)[:2] == "00"


@pytest.mark.parametrize(("fall", "bits"), [(48, 7), (50, 7), (46, 7)])
def test_as_many_bits_are_read_as_fit_to_half_a_bit(fall, bits):
    assert len(read(0, 16, fall, jump=4)) == bits


@pytest.mark.parametrize(("period", "bits"), [(30, "01" * 10 + "0"), (32, "01" * 10), (34, "01" * 9 + "0")])
def test_a_sender_that_is_faster_or_slower_is_followed(period, bits):
    # A fall every two bits, two quanta early, in place or late: bit 2 k begins at k periods, the last before 312.
    edges = [half * period / 2 for half in range(24)]
    assert read(*edges, jump=4, stop_bits=20) == bits


def test_a_receiver_that_fell_behind_looks_beyond_the_end_of_the_frame():
    # Bits of 2 us, 400 samples. The dominant levels of bits 2 and 4 come three and six quanta (of 25 samples) late, so
    # bits from then on are looked at after 3/4 + 6/16: an eighth into the next, the last one behind the frame, where a
    # pulse stands.
    link, sent = CanLink(bit_rate=500_000, sample_point=0.75), bitarray("01010011")
    volts = np.zeros(samples_beside(link, sent))
    volts[2 * 400 : 2 * 400 + 75] = -2.0
    volts[4 * 400 : 4 * 400 + 150] = -2.0
    behind = len(sent) * 400
    volts[behind + 10 : behind + 200] = 2.0  # its own edge is followed too: three quanta more
    wave = Waveform(start_s=0.0, rate_hz=GRID_HZ, volts=volts)
    followed, stayed = read_beside(link, BitTiming(jump=3), wave, sent, 0)
    assert followed.to01() == "01010110"  # from bit 4 on the level of the bit behind
    assert stayed == sent
    assert read_beside(link, BitTiming(jump=1), wave, sent, 0)[0] == sent  # an eighth of a bit behind: it sees no pulse
