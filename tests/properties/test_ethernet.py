"""Ethernet: laws that hold for every frame, any bits and any symbols."""

import pytest
from bitarray import bitarray
from feeding import receive_every_way
from hypothesis import find, given, settings
from hypothesis import strategies as st

import framesim as fs
from framesim.errors import BadArgument
from framesim.judging_datagrams import judge_datagram
from framesim.judging_symbols import judge_symbols
from framesim.networks import network
from framesim.networks.ethernet import LineReceiver, UdpDatagram, encode_symbols, read_datagram, receive_symbols
from framesim.strategies import disturbances, ethernet_frames, wires
from framesim.words import Check, Outcome

REPEATABLE = settings(derandomize=True, database=None, max_examples=60)
PATIENT = settings(deadline=None)
START = bitarray("10" * 31 + "11")


@PATIENT
@given(ethernet_frames(max_size=120))
def test_every_frame_comes_back_as_it_was_sent(frame):
    sent = fs.encode(frame)
    reception = receive_every_way(sent.bits, "ethernet")
    assert reception.frame == frame
    assert reception.valid_at == len(sent) - 1
    judged = fs.judge(sent, sent.bits)
    assert (judged.outcome, judged.alone) == (Outcome.DELIVERED, frozenset())


@settings(deadline=None, max_examples=20)
@given(ethernet_frames(min_size=1000))
def test_long_frames_come_back_too(frame):
    assert fs.receive(fs.encode(frame).bits, "ethernet").frame == frame
    assert receive_symbols(encode_symbols(frame).symbols).frame == frame


@given(wires(max_size=700))
def test_any_bits_give_an_answer_and_the_same_one_however_they_are_fed(bits):
    receive_every_way(bits, "ethernet")
    receive_every_way(START + bits, "ethernet")


@PATIENT
@given(st.data(), ethernet_frames(max_size=60))
def test_up_to_four_flips_after_the_delimiter_are_always_caught_by_the_crc(data, frame):
    # HD 5 or more up to 2974 data bits: Koopman, DSN 2002 (from memory).
    sent = fs.encode(frame)
    flips = data.draw(st.sets(st.integers(64, len(sent) - 1), min_size=1, max_size=4))
    judged = fs.judge(sent, sent.flipped(flips))
    assert judged.outcome is Outcome.DETECTED
    assert Check.CRC in judged.alone


@PATIENT
@given(st.data(), ethernet_frames(max_size=60))
def test_a_burst_of_up_to_32_bits_is_always_caught_by_the_crc(data, frame):
    # A cyclic code of degree r catches every burst of length r or less (Peterson & Brown 1961).
    sent = fs.encode(frame)
    first = data.draw(st.integers(64, len(sent) - 32))
    offsets = data.draw(st.sets(st.integers(0, 31), min_size=1))
    judged = fs.judge(sent, sent.flipped(first + offset for offset in offsets))
    assert judged.outcome is Outcome.DETECTED
    assert Check.CRC in judged.alone


@PATIENT
@given(st.data(), ethernet_frames(max_size=60))
def test_few_flips_anywhere_never_pass(data, frame):
    sent = fs.encode(frame)
    flips = data.draw(disturbances(n_bits=len(sent), max_flips=4))
    assert fs.judge(sent, sent.flipped(flips)).outcome is not Outcome.UNDETECTED


@PATIENT
@given(ethernet_frames(max_size=80), st.integers(1, (1 << 33) - 1), st.booleans())
def test_symbols_carry_every_frame_with_every_scrambler(frame, seed, slave):
    sent = encode_symbols(frame, seed=seed, slave=slave)
    reception = receive_symbols(sent.symbols, seed=seed, slave=slave)
    assert reception.frame == frame
    judged = judge_symbols(sent, sent.symbols)
    assert (judged.outcome, judged.alone) == (Outcome.DELIVERED, frozenset())


@given(st.lists(st.sampled_from((-1, 0, 1)), max_size=600), st.booleans())
def test_any_symbols_give_an_answer_and_the_same_one_however_they_are_fed(symbols, started):
    given_symbols = [0] * 6 * started + symbols
    whole = receive_symbols(given_symbols)
    stepper = LineReceiver()
    for symbol in given_symbols:
        stepper.feed((symbol,))
    assert stepper.finish() == whole
    listening = LineReceiver(strict=False)
    listening.feed(given_symbols)
    listening.finish()
    if whole.check is not None:
        assert whole.check in listening.spoken


@PATIENT
@given(st.data(), ethernet_frames(max_size=60))
def test_two_wrong_symbols_never_pass(data, frame):
    sent = encode_symbols(frame)
    places = st.integers(0, len(sent) - 1)
    changes = data.draw(st.dictionaries(places, st.sampled_from((-1, 0, 1)), min_size=1, max_size=2))
    assert judge_symbols(sent, sent.disturbed(changes)).outcome is not Outcome.UNDETECTED


@given(st.binary(max_size=80))
def test_any_payload_gives_an_answer_to_those_who_look_for_a_datagram(payload):
    for head in (b"", b"\x45\0\0", bytes.fromhex("4500002000000000401100000000000000000000")):
        reading = read_datagram(head + payload)
        assert (reading.datagram is None) == bool(reading.faults)
        if reading.datagram is not None:
            assert read_datagram(reading.datagram.packet()).datagram == reading.datagram


ADDRESSES = st.ip_addresses(v=4).map(str)
PORTS = st.integers(0, 65535)


@PATIENT
@given(
    st.data(),
    st.builds(
        UdpDatagram, source_address=ADDRESSES, destination_address=ADDRESSES, source_port=PORTS,
        destination_port=PORTS, data=st.binary(max_size=60),
    ),
)  # fmt: skip
def test_a_datagram_passes_only_where_the_frame_does(data, datagram):
    frame = fs.EthernetFrame(destination=bytes(6), source=bytes(6), ethertype=0x0800, payload=datagram.packet())
    sent = fs.encode(frame)
    assert judge_datagram(sent, sent.bits).outcome is Outcome.DELIVERED
    seen = sent.flipped(data.draw(disturbances(n_bits=len(sent), max_flips=8)))
    below, whole = fs.judge(sent, seen), judge_datagram(sent, seen)
    assert whole.alone >= below.alone
    if below.outcome is Outcome.DETECTED:
        assert (whole.outcome, whole.check, whole.at) == (Outcome.DETECTED, below.check, below.at)
    if whole.outcome is Outcome.UNDETECTED:
        assert below.outcome is Outcome.UNDETECTED


def test_frames_shrink_to_the_simplest_of_each_kind():
    def simplest(strategy, condition=lambda frame: True):
        return find(strategy, condition, settings=REPEATABLE)

    plain = {"destination": bytes(6), "source": bytes(6)}
    assert simplest(ethernet_frames(max_size=4)) == fs.EthernetFrame(**plain, ethertype=0)
    assert simplest(ethernet_frames(max_size=4, tagged=True)) == fs.EthernetFrame(**plain, ethertype=0, vlan=0)
    typed = simplest(ethernet_frames(max_size=4), lambda frame: frame.ethertype >= 0x600)
    assert typed == fs.EthernetFrame(**plain, ethertype=0x600)


@pytest.mark.parametrize("wrong", [{"tagged": 1}, {"min_size": -1}, {"max_size": 1501}, {"min_size": 9, "max_size": 8}])
def test_the_strategy_refuses_bounds_that_no_frame_meets(wrong):
    with pytest.raises(BadArgument, match="|".join(wrong)):
        ethernet_frames(**wrong)


def test_every_state_of_the_receiver_has_a_row_and_can_be_reached():
    table, seen, todo = network("ethernet").transitions, set(), ["hunting"]
    while todo:
        state = todo.pop()
        if state not in seen:
            seen.add(state)
            todo += table[state].values()
    assert seen == set(table)
