"""The compiled receiver of stuffed formats against the reference receiver: the same verdict on every frame."""

import pickle
import random
import sys
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import pytest
from bitarray import bitarray
from field_verdicts import (
    SHORT,
    by_the_reference,
    by_the_reference_receiver,
    differences,
    fd_frame,
    flat,
    mended,
    mixed_flips,
    near_flips,
    spread_flips,
)
from random_frames import random_frame

import framesim as fs
from framesim.coverage.campaign.works import frames_work
from framesim.coverage.fast import scalar
from framesim.coverage.fast.scalar import engine
from framesim.coverage.fast.sending import bits_from, bounds_of, draw_frames
from framesim.coverage.fast.wires import on_the_wire, wires_of
from framesim.coverage.fast.work import Sampling, frame_at
from framesim.coverage.linear.can_fd import accepted_patterns, undetected_patterns
from framesim.coverage.population import Payloads
from framesim.disturbance import Bursts, ExactFlips, Flips, GilbertElliott, Scatter
from framesim.kernels.field_receiver import UNDECIDED, VALID
from framesim.linecoding.coding import PLAIN
from framesim.linecoding.stuffing import DynamicStuffing, FixedStuffing
from framesim.networks.can import CAN
from framesim.networks.can_fd import CAN_FD, CAN_FD_ORIGINAL, LENGTHS
from framesim.networks.can_xl import CAN_XL
from framesim.networks.encoder import encode_with
from framesim.networks.registry import network_of


def fd_differences(rng, frames, patterns, flips_of, sizes=SHORT):
    wrong = 0
    for _ in range(frames):
        sent = fs.encode(fd_frame(rng, sizes))
        rows = [flips_of(rng, len(sent)) for _ in range(patterns)]
        wrong += differences(CAN_FD if sent.frame.iso else CAN_FD_ORIGINAL, sent, rows)
    return wrong


@pytest.mark.parametrize("flips_of", [spread_flips, near_flips])
def test_every_frame_gets_the_verdict_of_the_reference_receiver(flips_of):
    assert fd_differences(random.Random(21), 60, 25, flips_of) == 0


def test_so_do_long_frames():
    assert fd_differences(random.Random(22), 30, 6, mixed_flips, LENGTHS) == 0


def test_all_pairs_of_flips_in_long_runs_that_break_step_and_mend_it():
    sent = fs.encode(fs.CanFdFrame(identifier=0, payload=b"\x00\xff"))
    (data,) = (span for span in sent.spans if span.name == "data")
    assert differences(CAN_FD, sent, list(combinations(range(data.stop), 2))) == 0


@pytest.mark.slow
@pytest.mark.parametrize(("flips_of", "frames"), [(spread_flips, 10_000), (near_flips, 1_100)])
def test_a_million_frames_get_the_verdict_of_the_reference_receiver(flips_of, frames):
    assert fd_differences(random.Random(23), frames, 100, flips_of) == 0


@pytest.mark.parametrize(("network", "name"), [(CAN, "can"), (CAN_XL, "can-xl")])
def test_other_formats_declared_in_the_same_terms_need_no_code_of_their_own(network, name):
    rng = random.Random(24)
    for _ in range(12):
        sent = fs.encode(random_frame(name, rng))
        assert differences(network, sent, [mixed_flips(rng, len(sent)) for _ in range(12)]) == 0


@pytest.mark.parametrize(("dynamic", "fixed"), [
    (DynamicStuffing(run=3, at_end=True), FixedStuffing(every=5, leading=False)),
    (DynamicStuffing(run=4, at_end=False), FixedStuffing(every=1)),
    (DynamicStuffing(run=6, at_end=True), PLAIN),
])  # fmt: skip
def test_rules_of_stuffing_are_taken_from_the_layout(dynamic, fixed):
    changed = {DynamicStuffing: dynamic, FixedStuffing: fixed}
    rows = tuple(replace(row, coding=changed.get(type(row.coding), row.coding)) for row in CAN_FD.layout.fields)
    other = replace(CAN_FD, layout=replace(CAN_FD.layout, fields=rows))
    rng = random.Random(25)
    for _ in range(6):
        sent = encode_with(other, fd_frame(rng, iso=True))
        assert differences(other, sent, [mixed_flips(rng, len(sent)) for _ in range(15)]) == 0


@dataclass(frozen=True)
class Listed:
    """A channel that flips what it is told: frame after frame of a list of patterns."""

    patterns: tuple

    def flips(self, n_frames, n_bits, rng):
        assert n_frames == len(self.patterns)
        return Flips(*flat(self.patterns))

    def describe(self):
        return {"kind": "listed"}


WEAK = (
    fs.CanFdFrame(identifier=0xC8, payload=b"\xe9\x45"),
    fs.CanFdFrame(identifier=0x1405C0CD, payload=b"\xc9\x19", extended=True, error_state=True),
    fs.CanFdFrame(identifier=0x067, payload=b"\x12\x34", iso=False),
    fs.CanFdFrame(identifier=0x0B, iso=False),
)


@pytest.mark.parametrize("frame", WEAK, ids=lambda frame: f"{frame.identifier:#x}")
def test_every_undetected_pattern_of_two_flips_is_found_and_listed(frame):
    sent = fs.encode(frame)
    rows = [row for found in undetected_patterns(sent, 2).values() for row in found if row.flips[-1] < len(sent)]
    patterns = tuple(row.flips for row in rows)
    assert patterns
    done = Sampling(sources=(frame,), channel=Listed(patterns), payloads=1, repeats=len(patterns), most_cases=1000)
    result = done.unit(1, 0)
    assert result.counts["undetected"] == len(patterns) == result.counts["disturbed"]
    assert [tuple(case["flips"]) for case in result.cases] == sorted(patterns)
    for case, row in zip(result.cases, sorted(rows), strict=True):
        assert case["valid_at"] + 1 == row.end


@pytest.mark.parametrize("frame", WEAK[:3:2], ids=lambda frame: f"{frame.identifier:#x}")
def test_of_all_pairs_those_are_accepted_that_another_receiver_accepts(frame):
    sent = fs.encode(frame)
    pairs = list(combinations(range(len(sent)), 2))
    wires, lengths = on_the_wire([sent])
    _, verdicts, _ = engine(CAN_FD if frame.iso else CAN_FD_ORIGINAL).verdicts(wires, lengths, len(pairs), *flat(pairs))
    accepted = {pair for pair, verdict in zip(pairs, verdicts.tolist(), strict=True) if verdict == VALID}
    # The other one leaves out flips after the frame is valid, as in the last bit of EOF.
    found = {row.flips for row in accepted_patterns(sent, 2) if row.flips[-1] < len(sent)}
    late = {(row.flips[0], len(sent) - 1) for row in accepted_patterns(sent, 1) if row.end < len(sent)}
    assert accepted == found | late
    assert accepted


@pytest.mark.parametrize(("one", "other"), [
    # These differ by six wire bits only (docs/networks/can-fd.md).
    (fs.CanFdFrame(identifier=132, bit_rate_switch=True), fs.CanFdFrame(identifier=662, bit_rate_switch=True)),
    (fs.CanFdFrame(identifier=5, payload=b"\x12" * 20), fs.CanFdFrame(identifier=5, payload=b"\x12" * 19 + b"\x34")),
    # Both reach their stuff counts at the same wire bit, one by 19 more bits of its own, the other by stuff bits.
    (
        fs.CanFdFrame(identifier=0x0AAAAAAA, extended=True, payload=b"\xaa" * 20),
        fs.CanFdFrame(identifier=0, payload=bytes(11) + b"\xaa" * 9),
    ),
    (fs.CanXlFrame(identifier=5, payload=b"abcd"), fs.CanXlFrame(identifier=5, payload=b"abce")),
], ids=["fd", "fd, last byte", "fd, other counts", "xl, last byte"])  # fmt: skip
def test_flips_that_make_one_frame_another_pass_and_are_put_before_the_judge(one, other):
    sent, read = fs.encode(one), fs.encode(other)
    assert len(sent) == len(read)
    flips = tuple((sent.bits ^ read.bits).search(1))
    sampling = Sampling(sources=(one,), channel=Listed((flips,)), payloads=1, repeats=1)
    result = sampling.unit(1, 0)
    assert (result.counts["undetected"], result.counts["delivered"]) == (1, 0)
    assert result.cases[0]["flips"] == list(flips)


EVERY_LENGTH = tuple(Payloads(frame=fs.CanFdFrame(identifier=0x123, payload=bytes(size))) for size in (0, 1, 2, 5, 12))
EXTENDED = Payloads(frame=fs.CanFdFrame(identifier=0x12345, extended=True, bit_rate_switch=True, payload=bytes(4)))
OLD = tuple(Payloads(frame=fs.CanFdFrame(identifier=0x0B, payload=bytes(size), iso=False)) for size in (0, 3, 20))
XL = (Payloads(frame=fs.CanXlFrame(identifier=0x123, payload=bytes(3))),)


CLASSIC = (
    *(Payloads(frame=fs.CanFrame(identifier=0x7C1, payload=bytes(size)), high=b"\x03" * size) for size in range(9)),
    fs.CanFrame(identifier=0x1FFFFFF0, extended=True, remote=True, dlc=9),
)
WHOLE = (fs.CanFdFrame(identifier=0, payload=bytes(24)), fs.CanFdFrame(identifier=0x7FF), fs.CanFdFrame(identifier=5))


LONG_XL = Payloads(frame=fs.CanXlFrame(identifier=0x7FF, payload=bytes(40)))


@pytest.mark.parametrize("sources", [
    (*EVERY_LENGTH, EXTENDED, *WHOLE), OLD, (*XL, LONG_XL), CLASSIC,
], ids=["fd", "old", "xl", "classic"])  # fmt: skip
def test_frames_are_laid_on_the_wire_as_the_encoder_does(sources):
    sampling = Sampling(sources=sources, channel=ExactFlips(count=1), payloads=90)
    drawn = draw_frames(sources, np.full(len(sources), 1 / len(sources)), 90, seed=4, number=0)
    wires, lengths = wires_of(network_of(bounds_of(sources[0])[0]), sampling, drawn)
    for index in range(90):
        assert bits_from(wires[index, : lengths[index]]) == fs.encode(frame_at(sampling, drawn, index)).bits
    assert len(set(lengths.tolist())) > 1


@pytest.mark.parametrize(("sources", "channel"), [
    ((*EVERY_LENGTH, EXTENDED), GilbertElliott(good_to_bad=1e-2, bad_to_good=0.1, good_error=1e-3, bad_error=0.5)),
    ((*EVERY_LENGTH, EXTENDED), Bursts(starts_per_bit=1e-3, mean_length=6, lengths="fixed")),
    ((*EVERY_LENGTH, EXTENDED), ExactFlips(count=1)),
    (OLD, ExactFlips(count=2)),
    (OLD, Scatter(bit_error_ratio=0.01)),
    (XL, ExactFlips(count=2)),
], ids=["states", "bursts", "one flip", "old, two flips", "old, scatter", "xl"])  # fmt: skip
@pytest.mark.parametrize("acceptance", ["receiver_only", "same_end"])
def test_a_unit_gives_what_the_reference_receiver_gives_of_the_same_flips(monkeypatch, sources, channel, acceptance):
    sampling = Sampling(sources=sources, channel=channel, payloads=12, repeats=8, acceptance=acceptance)
    assert sampling.unit(5, 7) == by_the_reference(monkeypatch, sampling, 5, 7)
    assert sampling.note == ""


def test_undetected_frames_among_many_are_those_that_the_reference_finds(monkeypatch):
    # One flip of the first bit passes always; see docs/networks/can-fd.md.
    frame = fs.CanFdFrame(identifier=0x067, iso=False)
    sampling = Sampling(sources=(frame,), channel=ExactFlips(count=1), payloads=4, repeats=64)
    result = sampling.unit(2, 3)
    assert result == by_the_reference(monkeypatch, sampling, 2, 3)
    assert {tuple(case["flips"]) for case in result.cases} == {(0,)}


def test_a_unit_gives_the_same_whatever_was_done_before():
    sampling = Sampling(sources=EVERY_LENGTH, channel=ExactFlips(count=2), payloads=16, repeats=128)
    assert pickle.loads(pickle.dumps(sampling)) == sampling
    first = [sampling.unit(1, number) for number in (0, 1, 2)]
    assert [sampling.unit(1, number) for number in (2, 0, 1)] == [first[2], first[0], first[1]]
    assert len({tuple(result.counts.items()) for result in first}) == 3
    for counts in (result.counts for result in first):
        spoken = sum(count for name, count in counts.items() if name.startswith("first."))
        assert counts["delivered"] + counts["undetected"] + counts["unseen"] + spoken == counts["frames"] == 16 * 128


def test_without_numba_a_unit_is_slow_but_the_same(monkeypatch):
    sampling = Sampling(sources=OLD, channel=Bursts(starts_per_bit=0.01, mean_length=4), payloads=3, repeats=20)
    expected = sampling.unit(1, 0)
    engine.cache_clear()
    for name in ("compiled", "field_receiver", "field_ways"):
        monkeypatch.delitem(sys.modules, f"framesim.kernels.{name}")
    monkeypatch.setitem(sys.modules, "numba", None)
    assert "numba is missing" in sampling.note
    assert sampling.unit(1, 0) == expected
    monkeypatch.undo()
    assert sampling.note == ""


@pytest.mark.parametrize(("ways", "events"), [(1, 4096), (2, 4096), (24, 4)])
def test_receivers_for_whose_ways_no_room_is_left_get_the_same_verdict(monkeypatch, ways, events):
    sent = fs.encode(fs.CanFdFrame(identifier=0x123, payload=b"\x12\x07\xff"))
    patterns = [pattern for first in range(1, len(sent), 3) for pattern in mended(CAN_FD, sent, first)]
    expected = [by_the_reference_receiver(CAN_FD, sent.flipped(row)) for row in patterns]
    often = 1 + 8 * len(sent) // len(patterns)  # so many that ways are written down
    wires, lengths = on_the_wire([sent])
    with monkeypatch.context() as patch:
        patch.setattr(scalar, "MOST_WAYS", ways)
        patch.setattr(scalar, "MOST_EVENTS", events)
        _, found, _ = engine(CAN_FD).verdicts(wires, lengths, often * len(patterns), *flat(patterns * often))
    assert found.tolist() == expected * often


def test_a_frame_that_its_own_receiver_refuses_is_no_frame_to_disturb():
    sent = fs.encode(fs.CanFdFrame(identifier=1))
    for spoiled in (sent.flipped([40]), sent.bits[:30]):
        wires, lengths = on_the_wire([replace(sent, bits=spoiled, spans=(), inserted=(), fields=())])
        with pytest.raises(AssertionError, match="frame 0 is not accepted undisturbed"):
            engine(CAN_FD).verdicts(wires, lengths, 1, *flat([(3,)]))


def test_a_wire_that_stays_at_rest_is_no_frame():
    # The only dominant bits flip: the receiver never begins.
    sent = fs.encode(fs.CanFdFrame(identifier=0x555, iso=False))
    dominant = tuple(sent.bits.search(bitarray("0")))
    assert differences(CAN_FD_ORIGINAL, sent, [dominant]) == 0
    wires, lengths = on_the_wire([sent])
    assert engine(CAN_FD_ORIGINAL).verdicts(wires, lengths, 1, *flat([dominant]))[1].tolist() == [UNDECIDED]


def test_a_campaign_of_exact_flips_takes_the_compiled_receiver():
    frame = fs.CanFdFrame(identifier=0xC8, payload=b"\xe9\x45")
    work = frames_work(frame, ExactFlips(count=2), frames_per_unit=16384)
    assert not work.slow
    result = work.unit(3, 0)
    counts = result.counts
    assert counts["frames"] == counts["disturbed"] == 16384
    assert counts["delivered"] + counts["detected"] + counts["undetected"] + counts["unseen"] == counts["frames"]
    known = {pattern.flips for found in undetected_patterns(fs.encode(frame), 2).values() for pattern in found}
    assert {tuple(case["flips"]) for case in result.cases} <= known
    assert result.cases
