"""Bit-sliced receivers against the reference receiver: the same verdict on every frame, not only the same counts."""

import pickle
import random
import sys
from collections import Counter

import numpy as np
import pytest
from bitarray import bitarray
from random_frames import random_frame
from walked_verdicts import Listed

import framesim as fs
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.patterns import undetected_patterns
from framesim.coverage.fast import engines, reference, sliced, work
from framesim.coverage.fast.draws import flips_of
from framesim.coverage.fast.sending import draw_frames
from framesim.coverage.fast.shape import code_numbers, moves_of
from framesim.coverage.fast.sliced import engine
from framesim.coverage.fast.work import Sampling, frame_at
from framesim.coverage.population import Payloads
from framesim.disturbance import Bursts, ExactFlips, GilbertElliott, Scatter
from framesim.judging import run_receiver
from framesim.kernels import sliced_driver
from framesim.kernels.sliced_draws import draw
from framesim.kernels.sliced_driver import UW, listen, walk
from framesim.networks.automaton import CHECKS
from framesim.networks.can import CAN

WORDS, LANES = int(UW), 64
ACCEPTED = -2


def any_frame(rng):
    """A frame of any kind; half of them hold long runs of equal bits."""
    extended, remote = rng.random() < 0.4, rng.random() < 0.1
    size = 0 if remote else rng.randrange(9)
    runs = bytes(rng.choice((0x00, 0xFF, 0xF8, 0x07, 0x1F)) for _ in range(size))
    payload = rng.randbytes(size) if rng.random() < 0.5 else runs
    dlc = rng.randrange(16) if remote else rng.choice((8, 9, 15)) if size == 8 else size
    identifier = rng.getrandbits(29 if extended else 11) if rng.random() < 0.6 else 0
    return fs.CanFrame(identifier=identifier, extended=extended, remote=remote, dlc=dlc, payload=payload)


def spread_flips(rng, n_bits):
    return rng.sample(range(n_bits), rng.choice((1, 2, 2, 3, 5, 9)))


def near_flips(rng, n_bits):
    """Flips within twelve bits: they make and break runs."""
    first = rng.randrange(n_bits)
    return {min(first + rng.randrange(12), n_bits - 1) for _ in range(rng.choice((1, 2, 2, 3, 5, 9)))}


def planes_of(levels):
    """Levels (n_planes, WORDS, LANES) as machine words."""
    weights = np.arange(LANES, dtype=np.uint64)
    return (levels.astype(np.uint64) << weights).sum(axis=2, dtype=np.uint64).ravel()


def verdicts(found, levels):
    """The number of the first check to speak, or ACCEPTED, of each receiver; shape (WORDS, LANES)."""
    planes = planes_of(levels)
    scratch, told = np.zeros(64 * WORDS, np.uint64), np.zeros(4 * WORDS, np.uint64)
    listen(found.made.receive, planes, scratch, told, np.uint64(WORDS), 1)
    code, moves = code_numbers(found.network), moves_of(found.network)
    said = (told.reshape(4, WORDS, 1) >> np.arange(LANES, dtype=np.uint64)) & np.uint64(1)
    assert (said.sum(axis=0) == 1).all()
    result = np.full((WORDS, LANES), ACCEPTED)
    for row, check in enumerate(code[3:]):
        result[said[row] == 1] = check
    for word, lane in np.argwhere((said[3] == 1) & (levels[0] == 1)):
        heard = walk(planes, np.uint64(word), np.uint64(lane), moves, *code[:3].tolist())
        result[word, lane] = code[5] if heard == -1 else max(heard, ACCEPTED)
    return result


def differences(rng, rounds, flips_of):
    """How many frames are judged otherwise than by the reference, and how many were judged."""
    found, wrong = engine(CAN), 0
    for _ in range(rounds):
        sent = [fs.encode(any_frame(rng)) for _ in range(WORDS)]
        levels = np.ones((found.made.planes, WORDS, LANES), np.uint8)
        for word, wire in enumerate(sent):
            levels[: len(wire), word, :] = np.array(wire.bits.tolist(), np.uint8)[:, None]
            for lane in range(LANES):
                for place in flips_of(rng, len(wire)):
                    levels[place, word, lane] ^= 1
        result = verdicts(found, levels)
        for word in range(WORDS):
            for lane in range(LANES):
                heard = run_receiver(CAN, bitarray(levels[:, word, lane].tolist()), strict=True).finish()
                expected = ACCEPTED if heard.check is None else CHECKS.index(heard.check)
                wrong += result[word, lane] != expected
    return wrong, rounds * WORDS * LANES


@pytest.mark.parametrize("flips_of", [spread_flips, near_flips])
def test_every_frame_gets_the_verdict_of_the_reference_receiver(flips_of):
    assert differences(random.Random(11), 4, flips_of) == (0, 4096)


@pytest.mark.slow
@pytest.mark.parametrize(("flips_of", "rounds"), [(spread_flips, 1000), (near_flips, 110)])
def test_a_million_frames_get_the_verdict_of_the_reference_receiver(flips_of, rounds):
    assert differences(random.Random(12), rounds, flips_of)[0] == 0


@pytest.mark.parametrize("frame", [
    fs.CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714")),  # two patterns of two flips
    fs.CanFrame(identifier=0x655, payload=bytes.fromhex("0FF00FF0C3A5")),
    fs.CanFrame(identifier=0x1ABCDE0, extended=True, payload=bytes.fromhex("00FF00F8")),
])  # fmt: skip
def test_every_undetected_pattern_of_three_flips_is_found_and_listed(frame):
    line = line_of(fs.encode(frame))
    inside = [row for flips in (2, 3, 4) for row in undetected_patterns(line, flips) if row.flips[-1] < line.sent_bits]
    patterns = tuple(row.flips for row in inside)
    done = Sampling(sources=(frame,), channel=Listed(patterns), payloads=1, repeats=len(patterns), most_cases=1000)
    result = done.unit(1, 0)
    assert result.counts["undetected"] == len(patterns) == result.counts["disturbed"]
    assert [tuple(case["flips"]) for case in result.cases] == sorted(patterns)
    assert {case["frame"]["identifier"] for case in result.cases} == {frame.identifier}
    for case, row in zip(result.cases, sorted(inside), strict=True):
        assert case["valid_at"] + 1 == row.end


def by_the_reference(monkeypatch, sampling, seed, number):
    with monkeypatch.context() as patch:
        patch.setattr(work, "_engine_of", lambda _: reference.Reference(note="asked for", flips_of=flips_of))
        return sampling.unit(seed, number)


EVERY_LENGTH = tuple(Payloads(frame=fs.CanFrame(identifier=0x123, payload=bytes(size))) for size in range(9))
EXTENDED = Payloads(frame=fs.CanFrame(identifier=0x12345, extended=True, payload=bytes(4)))
REMOTE = fs.CanFrame(identifier=0x7FF, remote=True, dlc=3)


@pytest.mark.parametrize("channel", [
    GilbertElliott(good_to_bad=1e-2, bad_to_good=0.1, good_error=1e-3, bad_error=0.5),
    Bursts(starts_per_bit=1e-3, mean_length=6, lengths="fixed"),
    ExactFlips(count=3),  # 20 repeats are no multiple of 64: drawn by the channel itself
    Scatter(bit_error_ratio=0.01),
])  # fmt: skip
def test_a_unit_gives_what_the_reference_receiver_gives_of_the_same_flips(monkeypatch, channel):
    sampling = Sampling(sources=(*EVERY_LENGTH, EXTENDED, REMOTE), channel=channel, payloads=40, repeats=20)
    assert sampling.unit(5, 7) == by_the_reference(monkeypatch, sampling, 5, 7)
    assert sampling.note == ""


@pytest.mark.parametrize("flips", [1, 2, 5])
def test_flips_drawn_inside_the_compiled_receivers_are_those_drawn_without_a_compiler(monkeypatch, flips):
    sampling = Sampling(sources=(*EVERY_LENGTH, EXTENDED), channel=ExactFlips(count=flips), payloads=17, repeats=128)
    assert sampling.unit(2**63 + 9, 2**31) == by_the_reference(monkeypatch, sampling, 2**63 + 9, 2**31)


def test_a_unit_is_the_same_when_more_is_put_aside_than_there_is_room_for(monkeypatch):
    frame = fs.CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714"))  # two undetected pairs
    works = [
        Sampling(sources=(frame,), channel=Listed(((15, 58), (29, 58), (1, 2)) * 5), payloads=1, repeats=15),
        Sampling(sources=(frame,), channel=ExactFlips(count=2), payloads=16, repeats=1024),
    ]
    expected = [done.unit(1, 0) for done in works]
    assert min(result.counts["undetected"] for result in expected) > 3
    monkeypatch.setattr(sliced, "ROOM", 2)
    assert [done.unit(1, 0) for done in works] == expected


def test_a_scatter_of_more_flips_than_there_is_room_for_is_drawn_frame_by_frame_all_the_same():
    lengths, scatter = np.full(20, 50), Scatter(bit_error_ratio=0.05)
    drawn = [
        [(first * 2048 + pattern, place.copy()) for first, _, pattern, place in parts]
        for parts in (
            engine(CAN)._scattered(0.05, lengths, 2048, 3, 4),
            flips_of(scatter, lengths, 2048, seed=3, number=4),
        )
    ]
    assert 1 < len(drawn[0]) < len(drawn[1]) == 20
    patterns, places = (
        [np.concatenate([part[kind] for part in parts]) for parts in drawn] for kind in (0, 1)
    )  # fmt: skip
    assert np.array_equal(*patterns)
    assert np.array_equal(*places)


def test_receivers_that_missed_their_first_bit_are_heard_whenever_many_are_gathered(monkeypatch):
    """1536 times 4 flips in 45 bits: one in eleven misses it, so 64 lanes are filled more than once."""
    sampling = Sampling(sources=(REMOTE,), channel=ExactFlips(count=4), payloads=1, repeats=1536)
    assert sampling.unit(8, 0) == by_the_reference(monkeypatch, sampling, 8, 0)


def test_a_unit_gives_the_same_whatever_was_done_before():
    sampling = Sampling(sources=EVERY_LENGTH, channel=ExactFlips(count=2), payloads=48, repeats=128)
    assert pickle.loads(pickle.dumps(sampling)) == sampling
    first = [sampling.unit(1, number) for number in (0, 1, 2)]
    assert [sampling.unit(1, number) for number in (2, 0, 1)] == [first[2], first[0], first[1]]
    assert len({tuple(result.counts.items()) for result in first}) == 3
    assert sampling.unit(2, 0) != first[0]


@pytest.mark.parametrize("channel", [ExactFlips(count=2), Scatter(bit_error_ratio=0.01), Scatter(bit_error_ratio=0.0)])
def test_every_frame_is_counted_once(channel):
    counts = Sampling(sources=(*EVERY_LENGTH, EXTENDED), channel=channel, payloads=20, repeats=192).unit(3, 9).counts
    spoken = sum(count for name, count in counts.items() if name.startswith("first."))
    assert counts["delivered"] + counts["undetected"] + counts["unseen"] + spoken == counts["frames"] == 20 * 192


def test_acceptance_at_another_end_does_not_count_where_the_sender_would_object():
    frame = fs.CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714"))
    line = line_of(fs.encode(frame))
    rows = [row for row in undetected_patterns(line, 4) if row.flips[-1] < line.sent_bits]
    late = sum(row.end != line.accept_at for row in rows)
    assert 0 < late < len(rows)
    sampling = Sampling(
        sources=(frame,), channel=Listed(tuple(row.flips for row in rows)), payloads=1, repeats=len(rows),
        acceptance="same_end",
    )  # fmt: skip
    counts = sampling.unit(1, 0).counts
    assert (counts["other_end"], counts["undetected"]) == (late, len(rows) - late)


@pytest.mark.parametrize("name", ["can-fd", "lin", "flexray", "ethernet", "sent"])
def test_networks_without_a_compiled_receiver_are_sampled_by_the_reference_and_say_so(name, monkeypatch):
    monkeypatch.setattr(engines, "ENGINES", ("sliced",))
    frame = random_frame(name, random.Random(3))
    sampling = Sampling(sources=(frame,), channel=ExactFlips(count=2), payloads=1, repeats=12)
    counts = sampling.unit(1, 0).counts
    assert "reference" in sampling.note
    spoken = sum(count for key, count in counts.items() if key.startswith("first."))
    assert counts["delivered"] + counts["undetected"] + counts["unseen"] + spoken == 12


def test_without_numba_a_unit_is_slow_but_right(monkeypatch):
    sampling = Sampling(sources=(REMOTE,), channel=Bursts(starts_per_bit=0.01, mean_length=4), payloads=2, repeats=30)
    expected = sampling.unit(1, 0)
    engine.cache_clear()
    monkeypatch.delitem(sys.modules, "framesim.kernels.sliced_made")
    monkeypatch.setitem(sys.modules, "numba", None)
    assert "numba is missing" in sampling.note
    assert sampling.unit(1, 0) == expected
    monkeypatch.undo()
    assert sampling.note == ""


def drawn_flips(lengths, flips, turns, seed, unit):
    """The flips that the driver draws, frame by frame, as its text says: yields frame and places."""
    lanes = WORDS * LANES
    for first in range(0, len(lengths), WORDS):
        for turn in range(turns):
            chunk = first // WORDS * turns + turn
            flat = np.zeros(flips * lanes, np.uint32)
            draw(*np.split(flat, 4), np.uint64(chunk), np.uint64(unit), np.uint64(0), np.uint64(seed))
            words = flat.reshape(flips, WORDS, LANES).tolist()
            for word, length in enumerate(lengths[first : first + WORDS]):
                for lane in range(LANES):
                    places = []
                    for flip in range(flips):
                        highest = length - flips + flip
                        place = words[flip][word][lane] * (highest + 1) >> 32
                        places.append(highest if place in places else place)
                    yield first + word, places


@pytest.mark.parametrize(("identifier", "flips"), [(0x655, 2), (0x7C0, 3), (0x000, 1)])
def test_a_unit_of_exact_flips_counts_what_the_judge_says_of_each(identifier, flips):
    source = Payloads(frame=fs.CanFrame(identifier=identifier, payload=bytes(2)))
    sampling = Sampling(sources=(source,), channel=ExactFlips(count=flips), payloads=18, repeats=192)
    shares = np.ones(1)
    drawn = draw_frames(sampling.sources, shares, 18, seed=6, number=8)
    sent = [fs.encode(frame_at(sampling, drawn, index)) for index in range(18)]
    judged, first_bit_missed = Counter(), 0
    for frame, places in drawn_flips([len(wire) for wire in sent], flips, 3, 6, 8):
        reception = run_receiver(CAN, sent[frame].flipped(places), strict=True).finish()
        judged[f"first.{reception.check.value}" if reception.check else reception.accepted] += 1
        first_bit_missed += 0 in places
    assert first_bit_missed > 50
    counts = sampling.unit(6, 8).counts
    assert {name: count for name, count in counts.items() if name.startswith("first.")} == {
        name: count for name, count in judged.items() if isinstance(name, str)
    }
    assert counts["delivered"] + counts["undetected"] == judged[True]


def put_aside(sent, number, turns):
    """What the receivers of frame ``number`` of ``sent`` see, where they take other content under two flips."""
    found, lengths = engine(CAN), np.array([len(wire) for wire in sent], np.int64)
    wires = np.ones((len(sent), found.shape.planes), np.uint8)
    for row, wire in zip(wires, sent, strict=True):
        row[: len(wire)] = wire.bits.tolist()
    counted, frames = (np.zeros(size, np.int64) for size in (len(CHECKS), 1 << 14))
    fates, seen = np.zeros(2, np.int64), np.zeros((len(frames), wires.shape[1]), np.uint8)
    sliced_driver.exact_flips(
        found.made.receive, wires, lengths, lengths - 10, 2, turns, np.uint64(3), np.uint64(0), moves_of(CAN),
        code_numbers(CAN), counted, fates, frames, seen,
    )  # fmt: skip
    mine = np.flatnonzero(frames[: fates[1]] == number)
    assert fates[1] <= len(frames)
    return seen[mine, : lengths[number] + 4]


def test_a_receiver_that_reads_beyond_its_frame_hears_nothing_of_a_longer_frame_judged_before():
    short, long = fs.CanFrame(identifier=0x7D6, payload=b"\x1b"), fs.CanFrame(identifier=1, payload=bytes(8))
    sent, before = fs.encode(short), fs.encode(long)
    pattern = next(row for row in undetected_patterns(line_of(sent), 2) if row.flips == (26, 32))
    assert pattern.end == len(sent) + 1  # one bit of the resting wire is read, where the longer frame is dominant
    assert not before.bits[len(sent)]
    alone = put_aside([sent] * (WORDS + 1), WORDS, turns=200)
    behind = put_aside([before] * WORDS + [sent], WORDS, turns=200)
    flipped = (alone[:, : len(sent)] != np.array(sent.bits.tolist(), np.uint8)).nonzero()[1].reshape(-1, 2)
    assert [26, 32] in flipped.tolist()
    assert np.array_equal(behind, alone)
