"""Exact methods against every wire that a receiver of a tiny network can meet, each put through the real receiver."""

from collections import Counter, defaultdict
from itertools import product

import numpy as np
import pytest
from bitarray import bitarray
from toy_network import ToyFrame, toy_network

from framesim import Check, encode
from framesim.coverage.exact.graded import counts_by_flips
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.numeric import fate_of
from framesim.coverage.exact.patterns import undetected_bursts, undetected_patterns
from framesim.coverage.exact.reference import counts_reference, fate_reference
from framesim.coverage.exact.same_content import same_content, same_content_patterns
from framesim.disturbance import Bursts, GilbertElliott
from framesim.kernels.exact_singles import find_singles
from framesim.networks.receiver import Receiver
from framesim.networks.transitions import HUNTING

TOYS = {
    "with data": (
        {"run": 2, "number_bits": 1, "data_bits": 1, "at_end": True},
        ToyFrame(number=0, payload=1, long=True),
    ),
    "no stuff bit at the end": (
        {"run": 3, "number_bits": 1, "data_bits": 1, "at_end": False},
        ToyFrame(number=0),
    ),
}

CHANNELS = {
    "scatter": (np.array([1.0]), np.array([[1.0]]), np.array([0.17])),
    "two states": GilbertElliott(good_to_bad=0.05, bad_to_good=0.3, good_error=0.02, bad_error=0.45).matrices(),
    "fixed bursts": Bursts(starts_per_bit=0.07, mean_length=3, lengths="fixed", density=0.4).matrices(),
}


def every_wire(line):
    """Yield (levels, outcome, bits until then) for every wire up to where the receiver has concluded."""
    network, sent = line.network, line.sent.frame
    stack = [()]
    while stack:
        levels = stack.pop()
        receiver = Receiver(network)
        receiver.feed(levels)
        if receiver.done:
            got = receiver.reception()
            if got.accepted:
                yield levels, "delivered" if got.frame == sent else "undetected"
            else:
                yield levels, got.check
        elif receiver.state == HUNTING and len(levels) >= line.sent_bits:
            yield levels, "unseen"
        else:
            stack += [(*levels, 0), (*levels, 1)]


@pytest.fixture(scope="module", params=TOYS, ids=str)
def case(request):
    shape, frame = TOYS[request.param]
    with toy_network(**shape):
        line = line_of(encode(frame))
        yield line, list(every_wire(line))


def chance_of(line, levels, channel):
    start, step, error = channel
    state = start
    for sent, seen in zip(line.bits, levels, strict=False):
        state = (state * (error if sent != seen else 1 - error)) @ step
    return state.sum()


def flips_of(line, levels):
    return tuple(at for at, level in enumerate(levels) if level != line.bits[at])


@pytest.mark.parametrize("channel", CHANNELS.values(), ids=CHANNELS)
def test_fate_is_the_sum_over_every_wire(case, channel):
    line, wires = case
    sums = defaultdict(float)
    ends = defaultdict(float)
    for levels, outcome in wires:
        chance = chance_of(line, levels, channel)
        sums[outcome] += chance
        if outcome == "undetected":
            ends[len(levels)] += chance
    assert sum(sums.values()) == pytest.approx(1, rel=1e-12)
    for fate in (fate_of(line, channel, tolerance=1e-12), fate_reference(line, channel)):
        assert fate.undetected == pytest.approx(sums["undetected"], rel=1e-11)
        assert fate.delivered == pytest.approx(sums["delivered"], rel=1e-11)
        assert fate.unseen == pytest.approx(sums["unseen"], rel=1e-11)
        assert fate.by_check == pytest.approx({c: v for c, v in sums.items() if isinstance(c, Check)}, rel=1e-10)
        assert fate.by_end == pytest.approx(ends, rel=1e-10)
        assert fate.omitted <= 1e-12 * fate.undetected


def test_counts_by_flips_are_those_of_every_wire(case):
    line, wires = case
    counts = Counter((len(flips_of(line, levels)), len(levels)) for levels, outcome in wires if outcome == "undetected")
    wanted = {key: count for key, count in counts.items() if key[0] <= 6}
    assert wanted
    found = counts_by_flips(line, 6)
    assert wanted == {
        (flips, end): int(found.counts[flips, place])
        for place, end in enumerate(found.ends)
        for flips in range(7)
        if found.counts[flips, place]
    }
    assert wanted == counts_reference(line, 6)
    for up_to in range(1, 6):
        assert counts_by_flips(line, up_to).by_flips() == {
            flips: sum(count for (k, _), count in wanted.items() if k == flips) for flips in range(1, up_to + 1)
        }


@pytest.mark.parametrize("flips", [1, 2, 3, 4, 5])
def test_patterns_are_those_of_every_wire(case, flips):
    line, wires = case
    wanted = sorted(
        (flips_of(line, levels), len(levels))
        for levels, outcome in wires
        if outcome == "undetected" and len(flips_of(line, levels)) == flips
    )
    assert wanted == undetected_patterns(line, flips)


def test_bursts_are_those_of_every_wire(case):
    line, wires = case
    span = 14
    wanted = Counter()
    shortest = set()
    for levels, outcome in wires:
        flips = flips_of(line, levels)
        if outcome == "undetected" and flips[-1] - flips[0] < span:
            wanted[flips[-1] - flips[0] + 1, len(flips)] += 1
            shortest.add(flips)
    found = undetected_bursts(line, span, examples=100_000)
    assert wanted == found.counts
    assert shortest == {tuple(burst.first + offset for offset in burst.offsets) for burst in found.examples}


def test_wires_of_the_sent_content_are_those_of_every_wire(case):
    line, wires = case
    wanted = {(flips_of(line, levels), len(levels)) for levels, outcome in wires if outcome == "delivered"}
    assert len(wanted) > 2  # late starts and the reserved bit, not only the answer slot
    assert wanted == set(same_content_patterns(line, same_content(line), max_flips=99))


@pytest.mark.parametrize("run", [2, 3])
def test_the_fast_search_finds_the_single_flips_that_pass(run):
    """A CRC of four bits lets many pass, all of them for a longer or shorter frame."""
    found = []
    with toy_network(run=run, number_bits=5, data_bits=4, at_end=True):
        for number, payload in product(range(32), range(-1, 16)):
            frame = ToyFrame(number=number, payload=max(0, payload), long=payload >= 0)
            line = line_of(encode(frame))
            steps = line.steps
            room = [np.empty(64, np.int64) for _ in range(3)]
            size = find_singles(
                steps.graph.target, steps.add, steps.jump, steps.powers, steps.width, steps.left, line.bits[None],
                np.array([line.sent_bits], np.int32), np.uint32(steps.first), *room,
            )  # fmt: skip
            harmless = {flips for flips, _ in same_content_patterns(line, same_content(line), max_flips=1)}
            mine = sorted(
                ((place,), end)
                for place, end in zip(room[1][:size].tolist(), room[2][:size].tolist(), strict=True)
                if (place,) not in harmless
            )
            assert undetected_patterns(line, 1) == mine
            found += mine
    assert len(found) > 10


def test_the_real_receiver_accepts_what_the_line_accepts_undisturbed(case):
    line, _ = case
    receiver = Receiver(line.network)
    receiver.feed(bitarray(line.bits.tolist()))
    assert receiver.reception().valid_at == line.accept_at - 1
