"""100BASE-T1: symbols, delimiters, the scrambler, and what a disturbed symbol does."""

from collections import Counter

import pytest

import framesim as fs
from framesim.errors import BadArgument
from framesim.judging_symbols import judge_symbols
from framesim.linecoding.side_stream import SideStream
from framesim.linecoding.ternary_pairs import BITS_OF, NO_DATA, PAIRS
from framesim.networks.ethernet import LineReceiver, encode_symbols, receive_symbols
from framesim.networks.ethernet.line import SYMBOL_RATE
from framesim.words import Check, Outcome

FRAME = fs.EthernetFrame(
    destination=bytes.fromhex("02000000a001"), source=bytes.fromhex("02000000a002"), ethertype=0x88B5,
    payload=bytes(range(64)),
)  # fmt: skip
SENT = encode_symbols(FRAME)


def pairs(symbols):
    return list(zip(symbols[::2], symbols[1::2], strict=True))


def of_pair(sent, index, pair):
    return sent.disturbed({2 * index: pair[0], 2 * index + 1: pair[1]})


def test_three_bits_are_a_pair_of_symbols_and_the_pair_0_0_is_none():
    # IEEE 802.3bw-2015 96.3 (table from memory): 000 is (-1,-1), then in the order of the two symbols.
    assert PAIRS[0b000] == (-1, -1)
    assert PAIRS[0b011] == (0, -1)
    assert PAIRS[0b100] == (0, 1)
    assert PAIRS[0b111] == (1, 1)
    assert sorted([*PAIRS, NO_DATA]) == [(one, two) for one in (-1, 0, 1) for two in (-1, 0, 1)]
    assert all(PAIRS[bits] == pair for pair, bits in BITS_OF.items())


def test_a_symbol_lasts_15_ns_and_two_carry_three_bits_at_100_mbit_per_s():
    # 66.666 MBd, 15 ns: IEEE 802.3bw-2015 (read).
    symbol_ns = 1e9 / SYMBOL_RATE
    assert symbol_ns == pytest.approx(15.0)
    assert 3 / (2 * symbol_ns) == pytest.approx(0.1)


def test_a_stream_begins_with_three_and_ends_with_two_pairs_that_carry_nothing():
    # SSD (0,0) (0,0) (0,0), ESD (0,0) (0,0) (1,1): IEEE 802.3bw-2015 96.3 (from memory).
    assert pairs(SENT.symbols)[:3] == [(0, 0)] * 3
    assert pairs(SENT.symbols)[-3:] == [(0, 0), (0, 0), (1, 1)]
    assert NO_DATA not in pairs(SENT.symbols)[3:-3]


@pytest.mark.parametrize("size", range(46, 52))
def test_any_number_of_bytes_fits_though_groups_have_three_bits(size):
    frame = fs.EthernetFrame(destination=bytes(6), source=bytes(6), ethertype=0x88B5, payload=bytes(size))
    sent = encode_symbols(frame)
    n_bits = 8 * (8 + 14 + size + 4)
    assert len(sent) == 6 + 2 * -((9 - n_bits) // 3) + 6
    assert receive_symbols(sent.symbols).frame == frame
    assert receive_symbols(sent.symbols).valid_at == len(sent) - 1


def test_spans_cover_the_symbols_and_follow_the_bits():
    assert SENT.spans[0] == ("SSD", 0, 6)
    assert SENT.spans[-1] == ("ESD", len(SENT) - 6, len(SENT))
    assert all(one.stop == other.start for one, other in zip(SENT.spans, SENT.spans[1:], strict=False))
    for bit in range(9, len(SENT.bits), 3):
        place = bit // 3 * 2
        assert SENT.span_at(place).name == SENT.bits.span_at(bit).name
        assert SENT.span_at(place + 1) == SENT.span_at(place)


def test_the_scrambler_repeats_with_its_seed_and_differs_between_master_and_slave():
    again = encode_symbols(FRAME)
    other = encode_symbols(FRAME, seed=1)
    slave = encode_symbols(FRAME, slave=True)
    assert again == SENT
    assert len({SENT.symbols, other.symbols, slave.symbols}) == 3
    for sent, how in ((other, {"seed": 1}), (slave, {"slave": True})):
        assert receive_symbols(sent.symbols, **how).frame == FRAME
        assert not receive_symbols(sent.symbols).accepted


@pytest.mark.parametrize(("slave", "tap"), [(False, 13), (True, 20)])
def test_the_scrambler_follows_its_polynomial(slave, tap):
    # Master 1 + x^13 + x^33, slave 1 + x^20 + x^33: IEEE 802.3bw-2015 96.3 (from memory).
    stream = SideStream(seed=0x1_2345_6789, slave=slave)
    newest = [stream.next() & 1 for _ in range(2000)]
    assert all(newest[n] == newest[n - tap] ^ newest[n - 33] for n in range(33, 2000))


def test_a_scrambled_run_of_zeros_uses_all_eight_pairs():
    # False alarm below 1e-9: 4000 pairs, each of 8 expected 500 times, bounds at six standard deviations.
    frame = fs.EthernetFrame(destination=bytes(6), source=bytes(6), ethertype=0x88B5, payload=bytes(1500))
    counts = Counter(pairs(encode_symbols(frame).symbols)[3:-3])
    assert set(counts) == set(PAIRS)
    mean = sum(counts.values()) / 8
    assert all(abs(count - mean) < 6.5 * (mean * 7 / 8) ** 0.5 for count in counts.values())


def test_one_wrong_pair_spoils_its_own_three_bits_and_no_other():
    # Side-stream scrambling does not multiply errors. The frame's 711 bits after the SSD are 237 whole groups.
    for index in range(3, len(SENT) // 2 - 3, 5):
        was = pairs(SENT.symbols)[index]
        for pair in PAIRS:
            line = LineReceiver(strict=False)
            line.feed(of_pair(SENT, index, pair))
            assert len(line.bits) == len(SENT.bits)
            wrong = [place for place, bit in enumerate(line.bits) if bit != SENT.bits.bits[place]]
            assert bool(wrong) == (pair != was)
            assert all(place // 3 == index for place in wrong)


def test_a_pair_0_0_within_the_data_is_a_line_code_error_once_the_next_pair_is_seen():
    for index in range(3, len(SENT) // 2 - 4, 3):
        judged = judge_symbols(SENT, of_pair(SENT, index, NO_DATA))
        assert (judged.outcome, judged.check) == (Outcome.DETECTED, Check.LINE_CODE)
        assert judged.at == 2 * (index + 1) + 1


def test_a_listening_receiver_reads_a_pair_0_0_as_three_scrambled_zeros_and_stays_in_step():
    scrambler = SideStream(seed=SENT.seed)
    scrambled = [scrambler.next() for _ in range(len(SENT) // 2)]
    for index in range(3, len(SENT) // 2 - 4, 7):
        line = LineReceiver(strict=False)
        line.feed(of_pair(SENT, index, NO_DATA))
        groups = [line.bits[3 * group : 3 * group + 3].to01()[::-1] for group in range(len(line.bits) // 3)]
        sent = [SENT.bits.bits[3 * group : 3 * group + 3].to01()[::-1] for group in range(len(SENT.bits) // 3)]
        sent[index] = f"{scrambled[index]:03b}"
        assert groups == sent


def test_a_pair_0_0_just_before_the_end_makes_the_end_too_early():
    last = len(SENT) // 2 - 4
    judged = judge_symbols(SENT, of_pair(SENT, last, NO_DATA))
    assert (judged.outcome, judged.check) == (Outcome.DETECTED, Check.FORM)
    assert judged.at == 2 * (last + 2) + 1


def test_a_broken_start_or_end_is_a_form_error():
    for index in range(3):
        judged = judge_symbols(SENT, of_pair(SENT, index, (1, 0)))
        assert (judged.check, judged.at, judged.alone) == (Check.FORM, 2 * index + 1, {Check.FORM})
    for pair in ((-1, -1), (0, 1), (0, 0)):  # (-1,-1) is how a sender says that it failed (from memory)
        judged = judge_symbols(SENT, of_pair(SENT, len(SENT) // 2 - 1, pair))
        assert (judged.check, judged.at) == (Check.FORM, len(SENT) - 1)


def test_a_stream_whose_end_never_comes_is_a_form_error():
    for missing in (6, 4, 2):
        reception = receive_symbols(SENT.symbols[:-missing])
        assert (reception.check, reception.at) == (Check.FORM, len(SENT) - missing - 1)
    assert not receive_symbols(SENT.symbols[:4]).complete
    assert not receive_symbols(()).complete


def test_no_single_wrong_symbol_after_the_delimiter_passes_and_the_line_code_sees_every_pair_0_0():
    caught, illegal = Counter(), 0
    for place in range(SENT.spans[4].start, SENT.spans[-1].start - 2, 3):
        for symbol in {-1, 0, 1} - {SENT.symbols[place]}:
            seen = SENT.disturbed({place: symbol})
            judged = judge_symbols(SENT, seen)
            assert judged.outcome is Outcome.DETECTED, place
            assert Check.CRC in judged.alone
            caught[judged.check] += 1
            illegal += pairs(seen)[place // 2] == NO_DATA
    assert caught[Check.LINE_CODE] == illegal > 0
    assert set(caught) <= {Check.LINE_CODE, Check.CRC, Check.LENGTH}


@pytest.mark.parametrize(("size", "filling"), [(64, 0), (65, 1), (66, 2)])
def test_a_wrong_pair_at_the_very_end_does_no_harm_where_it_only_touches_the_filling(size, filling):
    frame = fs.EthernetFrame(destination=bytes(6), source=bytes(6), ethertype=0x88B5, payload=bytes(size))
    sent = encode_symbols(frame)
    assert -(len(sent.bits) - 9) % 3 == filling
    last = len(sent) // 2 - 4
    outcomes = Counter(judge_symbols(sent, of_pair(sent, last, pair)).outcome for pair in PAIRS)
    assert outcomes == {Outcome.DELIVERED: 1 << filling, Outcome.DETECTED: 8 - (1 << filling)}


def test_a_frame_that_is_a_code_word_away_passes():
    other = fs.EthernetFrame(destination=FRAME.destination, source=FRAME.source, ethertype=0x88B5, payload=bytes(64))
    assert judge_symbols(SENT, encode_symbols(other).symbols).outcome is Outcome.UNDETECTED
    assert judge_symbols(SENT, SENT.symbols).outcome is Outcome.DELIVERED


def test_calls_that_make_no_sense_are_refused():
    with pytest.raises(BadArgument, match="expected an EthernetFrame"):
        encode_symbols(fs.CanFrame(identifier=1))
    with pytest.raises(BadArgument, match="seed=0x0: must lie in"):
        encode_symbols(FRAME, seed=0)
    with pytest.raises(BadArgument, match="symbol=2: must be -1, 0 or 1"):
        receive_symbols([0, 0, 2])
    with pytest.raises(BadArgument, match="symbol=5: must be"):
        SENT.disturbed({0: 5})
    for place in (-1, len(SENT)):
        with pytest.raises(BadArgument, match=f"place={place}: must lie in"):
            SENT.disturbed({place: 0})
        with pytest.raises(BadArgument, match=f"place={place}: must lie in"):
            SENT.span_at(place)
