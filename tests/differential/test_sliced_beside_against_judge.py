"""Bit-sliced receivers of CAN FD against the reference receiver: the same verdicts, and the same flips."""

import random
from dataclasses import replace

import numba
import numpy as np
import pytest
from field_verdicts import (
    by_the_reference,
    differences,
    fd_frame,
    flat,
    mended,
    mixed_flips,
    near_flips,
    spread_flips,
)
from walked_verdicts import Listed

import framesim as fs
from framesim.coverage.fast import choice, flips
from framesim.coverage.fast.flips import portions
from framesim.coverage.fast.scalar import engine
from framesim.coverage.fast.wires import on_the_wire
from framesim.coverage.fast.work import Sampling
from framesim.coverage.linear.can_fd import undetected_patterns
from framesim.coverage.population import Payloads
from framesim.disturbance import ExactFlips, Scatter
from framesim.kernels import compiled
from framesim.kernels.field_receiver import VALID
from framesim.kernels.field_ways import FEWEST
from framesim.kernels.lane_books import lane_starts
from framesim.networks.can_fd import CAN_FD, CAN_FD_ORIGINAL, LENGTHS
from framesim.networks.can_xl import CAN_XL
from framesim.networks.encoder import encode_with


def network_for(frame):
    return CAN_FD if frame.iso else CAN_FD_ORIGINAL


def by_both_roads(network, sent, patterns):
    """Verdicts of receivers of one frame together, and of each by itself, which no bit-sliced receiver is made for."""
    wires, lengths = on_the_wire([sent])
    _, together, _ = engine(network).verdicts(wires, lengths, len(patterns), *flat(patterns))
    wires, lengths = np.repeat(wires, len(patterns), axis=0), np.repeat(lengths, len(patterns))
    _, singly, _ = engine(network).verdicts(wires, lengths, 1, *flat(patterns))
    return together, singly


@pytest.mark.parametrize("extended", [False, True])
@pytest.mark.parametrize("size", LENGTHS)
def test_frames_of_every_length_get_the_verdict_of_the_reference_receiver(size, extended):
    rng = random.Random(1000 * size + extended)
    for iso, runs in ((True, True), (True, False), (False, rng.random() < 0.5)):
        frame = fd_frame(rng, (size,), iso=iso)
        payload = bytes(rng.choice((0, 0xFF, 0xF8, 0x07)) for _ in range(size)) if runs else rng.randbytes(size)
        frame = replace(frame, extended=extended, identifier=rng.getrandbits(29 if extended else 11), payload=payload)
        sent = fs.encode(frame)
        patterns = [mixed_flips(rng, len(sent)) for _ in range(FEWEST)]
        assert differences(network_for(frame), sent, patterns) == 0


@pytest.mark.parametrize("frame", [
    fs.CanFdFrame(identifier=0x123, payload=b"\x00\xff\x5a", bit_rate_switch=True, error_state=True),
    fs.CanFdFrame(identifier=0x1F07_C1F0, extended=True, payload=bytes(20)),
    fs.CanFdFrame(identifier=0x7C1, payload=b"\x0f" * 2, iso=False),
], ids=["base", "extended", "original"])  # fmt: skip
def test_a_flip_of_any_bit_with_any_of_the_next_six_gets_the_verdict_of_the_reference_receiver(frame):
    sent = fs.encode(frame)
    n_bits = len(sent)
    pairs = [(at, at + gap) for at in range(n_bits) for gap in range(1, 7) if at + gap < n_bits]
    assert differences(network_for(frame), sent, [(at,) for at in range(n_bits)] + pairs) == 0


@pytest.mark.parametrize(("size", "iso"), [(1, True), (3, False), (20, True), (24, False)])
def test_receivers_that_go_far_on_a_wrong_way_get_the_verdict_of_the_reference_receiver(size, iso):
    rng = random.Random(40 + size)
    for _ in range(3):
        sent = fs.encode(fd_frame(rng, (size,), iso=iso))
        network, step = network_for(sent.frame), 2 + len(sent) // 60
        patterns = [pattern for first in range(1, len(sent), step) for pattern in mended(network, sent, first)]
        assert differences(network, sent, patterns) == 0


@pytest.mark.parametrize("flips_of", [spread_flips, near_flips])
def test_receivers_side_by_side_conclude_what_each_does_by_itself(flips_of):
    rng = random.Random(31)
    for _ in range(40):
        frame = fd_frame(rng, LENGTHS)
        sent = fs.encode(frame)
        together, singly = by_both_roads(
            network_for(frame), sent, [flips_of(rng, len(sent)) for _ in range(rng.choice((63, 64, 65, 1100)))]
        )
        assert np.array_equal(together, singly)


def test_a_format_whose_later_fields_steer_has_each_receiver_by_itself():
    rng = random.Random(32)
    sent = encode_with(CAN_XL, fs.CanXlFrame(identifier=5, payload=b"abc"))
    together, singly = by_both_roads(CAN_XL, sent, [mixed_flips(rng, len(sent)) for _ in range(300)])
    assert np.array_equal(together, singly)


MIXED = (
    Payloads(frame=fs.CanFdFrame(identifier=0x123, payload=bytes(2))),
    Payloads(frame=fs.CanFdFrame(identifier=0x12345, extended=True, bit_rate_switch=True, payload=bytes(4))),
    fs.CanFdFrame(identifier=0x7F0, error_state=True, payload=bytes(24)),
)


@pytest.mark.parametrize("channel", [ExactFlips(count=2), Scatter(bit_error_ratio=0.02)], ids=["two flips", "scatter"])
def test_a_unit_gives_what_the_reference_receiver_gives_of_the_same_flips(monkeypatch, channel):
    sampling = Sampling(sources=MIXED, channel=channel, payloads=9, repeats=70)
    assert sampling.unit(2**40 + 5, 7) == by_the_reference(monkeypatch, sampling, 2**40 + 5, 7)


@pytest.mark.parametrize("frame", [
    fs.CanFdFrame(identifier=0xC8, payload=b"\xe9\x45"),
    fs.CanFdFrame(identifier=0x1405C0CD, payload=b"\xc9\x19", extended=True, error_state=True),
    fs.CanFdFrame(identifier=0x067, payload=b"\x12\x34", iso=False),
], ids=lambda frame: f"{frame.identifier:#x}")  # fmt: skip
def test_undetected_frames_among_many_are_found_and_listed(frame):
    sent = fs.encode(frame)
    rows = [row for found in undetected_patterns(sent, 2).values() for row in found if row.flips[-1] < len(sent)]
    wrong = tuple(row.flips for row in rows)
    patterns = (*wrong, (40, 41), (3,), (len(sent) - 1,)) * FEWEST
    sampling = Sampling(
        sources=(frame,), channel=Listed(patterns), payloads=1, repeats=len(patterns), most_cases=1000
    )  # fmt: skip
    result = sampling.unit(4, 1)
    assert result.counts["undetected"] == FEWEST * len(wrong) > 0
    assert result.counts["delivered"] == FEWEST
    assert [tuple(case["flips"]) for case in result.cases] == sorted(wrong * FEWEST)[:1000]


def test_flips_of_the_payload_that_cancel_in_the_crc_are_undetected():
    """Frames that differ by six wire bits and no stuff bit (docs/networks/can-fd.md)."""
    one, other = (fs.CanFdFrame(identifier=number, bit_rate_switch=True) for number in (132, 662))
    sent, read = fs.encode(one), fs.encode(other)
    six = tuple((sent.bits ^ read.bits).search(1))
    patterns = (six, six[1:], six[:-1]) * FEWEST
    sampling = Sampling(sources=(one,), channel=Listed(patterns), payloads=1, repeats=len(patterns))
    assert sampling.unit(1, 0).counts["undetected"] == FEWEST


@pytest.mark.parametrize("iso", [True, False])
@pytest.mark.parametrize("size", [2, 8, 16, 20, 64])
def test_flips_that_make_a_frame_another_whose_stuff_bits_lie_elsewhere_pass_and_with_one_more_do_not(size, iso):
    """In both CRCs a flip adds the same, though nearly half of all bits flip, and stuff bits come and go."""
    rng = random.Random(50 + size)
    network = CAN_FD if iso else CAN_FD_ORIGINAL
    patterns = []
    while len(patterns) < 3 * FEWEST:
        if not patterns:
            sent = fs.encode(fd_frame(rng, (size,), iso=iso))
        payload = bytes(rng.choice((0, 0xFF, 0xF8, 0x07, 0x1F, 0x3C)) for _ in range(size))
        other = fs.encode(replace(sent.frame, payload=payload))
        if len(other) == len(sent) and other.inserted != sent.inserted:
            makes_other = set((sent.bits ^ other.bits).search(1))
            crc = next(span for span in sent.spans if span.name.startswith("CRC"))
            patterns += [tuple(sorted(makes_other ^ more)) for more in (set(), {crc.start}, {crc.stop - 1})]
    assert differences(network, sent, patterns) == 0
    wires, lengths = on_the_wire([sent])
    _, found, _ = engine(network).verdicts(wires, lengths, len(patterns), *flat(patterns))
    assert (found[::3] == VALID).all()
    assert (found[1::3] != VALID).all()
    assert (found[2::3] != VALID).all()


def drawn(lengths, repeats, count, chooses):
    """All flips of a unit, whatever the portions they come in."""
    parts = list(portions(ExactFlips(count=count), lengths, repeats, seed=3, number=8, choose=chooses))
    assert [part[0] for part in parts] == [0, *(part[1] for part in parts[:-1])]
    return (
        np.concatenate([pattern + first * repeats for first, _, pattern, _ in parts]).tolist(),
        np.concatenate([place for _, _, _, place in parts]).tolist(),
    )


@pytest.mark.parametrize("count", [1, 2, 3, 7])
@pytest.mark.parametrize("repeats", [1, 77, 3000])
def test_compiled_code_chooses_the_flips_that_numpy_chooses(count, repeats):
    lengths = np.random.default_rng(count).integers(count, 60, 23)
    assert drawn(lengths, repeats, count, choice.choose) == drawn(lengths, repeats, count, flips.choose)
    lengths += 1
    assert drawn(lengths, repeats, count, choice.choose) == drawn(lengths, repeats, count, flips.choose)


@pytest.mark.parametrize("count", [2, 7])
def test_compiled_code_chooses_the_same_of_a_frame_drawn_piece_by_piece(monkeypatch, count):
    monkeypatch.setattr(flips, "FLIPS_AT_ONCE", 900)
    monkeypatch.setattr(choice, "AT_ONCE", 400)
    lengths = np.array([50, 9])
    found = [
        [(*part[:2], part[2].tolist(), part[3].tolist())
         for part in portions(ExactFlips(count=count), lengths, 1000, seed=3, number=8, choose=chooses)]
        for chooses in (choice.choose, flips.choose)
    ]  # fmt: skip
    assert found[0] == found[1]
    assert len(found[0]) > 4


def test_compiled_code_refuses_the_random_words_that_numpy_refuses():
    # Of numbers up to about 3 * 2^29, a quarter of all words would make some likelier than others.
    lengths = np.arange(3 << 29, (3 << 29) + 40)
    assert drawn(lengths, 1, 2, choice.choose) == drawn(lengths, 1, 2, flips.choose)
    (found,), (expected,) = (
        list(chooses(20, lengths, 3, np.random.Generator(np.random.Philox(key=5))))
        for chooses in (choice.choose, flips.choose)
    )  # fmt: skip
    assert found[:2] == expected[:2]
    assert all(np.array_equal(one, other) for one, other in zip(found[2:], expected[2:], strict=True))


def test_compiled_code_does_the_same_where_numba_has_no_such_option(monkeypatch):
    used = {}

    def recorded(**options):
        used.update(options)
        return numba.njit(**{**options, "cache": False})

    monkeypatch.setattr(compiled, "DefaultOptions", object)
    monkeypatch.setattr(compiled, "njit", recorded)
    again = compiled.lightly_compiled(lane_starts.py_func)
    pattern = np.array([0, 0, 3, 7, 7, 7])
    starts = np.full((2, len(pattern) + 1), -1)
    assert again(pattern, starts[0]) == lane_starts(pattern, starts[1]) == 3
    assert starts[:, :4].tolist() == [[0, 2, 3, 6]] * 2
    assert "_nrt" not in used


@pytest.mark.slow
def test_a_hundred_thousand_frames_of_every_length_get_the_verdict_of_the_reference_receiver():
    rng = random.Random(33)
    wrong = 0
    for _ in range(2000):
        frame = fd_frame(rng, LENGTHS)
        sent = fs.encode(frame)
        wrong += differences(network_for(frame), sent, [mixed_flips(rng, len(sent)) for _ in range(50)])
    assert wrong == 0
