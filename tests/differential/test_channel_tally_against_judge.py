"""A scenario's frames under a channel: compiled receivers that listen on against the road through lanes and judge."""

import dataclasses
import sys

import numpy as np
import pytest

from framesim.coverage.channel_tally import tally_flips
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.patterns import undetected_patterns
from framesim.coverage.frame_book import PAGES
from framesim.coverage.scenario import SWEEPER, Sender, scenario_from_text
from framesim.coverage.tally import Tally
from framesim.coverage.traffic import Traffic
from framesim.coverage.windows import channel_part
from framesim.disturbance import Bursts, ExactFlips, Flips, GilbertElliott, Scatter
from framesim.judging import judge
from framesim.words import Outcome

BASE = scenario_from_text(SWEEPER, file="built-in")
SENDERS = (
    BASE.sender,
    Sender(identifier=0x000, payload_bytes=3),  # long runs: stuff bits from the first byte on
    Sender(identifier=0x1FFFFFFF, extended=True, payload_bytes=5),
)


def both(sender, channel, first, count):
    """The same frames by either road, as the report adds them up."""
    scenario = dataclasses.replace(BASE, sender=sender)
    parts = [
        channel_part(scenario, channel, Traffic(scenario), 7, first, first + count, compiled=compiled)
        for compiled in (True, False)
    ]
    return [Tally() + part.passages["can"].tally for part in parts]


@pytest.mark.parametrize("sender", SENDERS)
@pytest.mark.parametrize(
    "channel",
    [
        Scatter(bit_error_ratio=0.006),
        Scatter(bit_error_ratio=0.2),
        GilbertElliott(good_to_bad=1e-2, bad_to_good=0.1, good_error=1e-3, bad_error=0.5),
        Bursts(starts_per_bit=5e-3, mean_length=8, lengths="fixed"),
        ExactFlips(count=1),  # every bit once in a while, the acknowledge slot and the last bit of the frame too
    ],
)
def test_verdicts_and_checks_alone_are_the_same(sender, channel):
    first = PAGES - 200  # over the end of the contents
    compiled, plain = both(sender, channel, first, 400)
    assert compiled == plain
    assert compiled.disturbed > 100
    assert compiled.detected > 0


def test_every_bit_flipped_and_no_bit_flipped_are_the_same():
    for ratio in (0.0, 1.0):
        compiled, plain = both(BASE.sender, Scatter(bit_error_ratio=ratio), 0, 40)
        assert compiled == plain
        assert compiled.frames == 40


def test_patterns_that_pass_are_found_by_the_judge_at_the_end():
    """Random flips hold no such pattern, so they are looked for: each on a frame of its own, in the contents' turn."""
    wire = Traffic(BASE).wire(0)
    inside = [
        pattern.flips for pattern in undetected_patterns(line_of(wire), 4) if pattern.flips[-1] < len(wire)
    ]  # fmt: skip
    assert inside
    outcomes = [judge(wire, wire.flipped(flips)).outcome for flips in inside]
    assert set(outcomes) == {Outcome.UNDETECTED}
    frame = np.repeat(PAGES * np.arange(len(inside), dtype=np.int64), [len(flips) for flips in inside])
    hits = Flips(frame, np.concatenate([np.array(flips, np.int32) for flips in inside]))
    tally = tally_flips(BASE, hits, 0, PAGES * len(inside))
    assert tally.undetected == tally.disturbed == len(inside)
    assert tally.flips == len(hits.bit)
    assert not tally.alone


def test_without_numba_a_channel_is_tallied_all_the_same(monkeypatch):
    expected, plain = both(BASE.sender, Scatter(bit_error_ratio=0.01), 0, 60)
    for name in ("listening", "compiled"):
        monkeypatch.delitem(sys.modules, f"framesim.kernels.{name}")
    monkeypatch.setitem(sys.modules, "numba", None)
    with pytest.raises(ImportError):
        tally_flips(BASE, Flips(np.zeros(1, np.int64), np.zeros(1, np.int32)), 0, 1)
    assert both(BASE.sender, Scatter(bit_error_ratio=0.01), 0, 60) == [expected, plain]
