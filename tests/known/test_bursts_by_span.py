"""Bursts counted by span: the exact look-up and the receiver asked pattern by pattern."""

import pytest

import framesim as fs
from framesim.coverage import bursts_by_span as module
from framesim.coverage.bursts_by_span import bursts_by_span

SHORT = fs.encode(fs.CanFrame(identifier=0x482, payload=b""))


def test_the_look_up_counts_what_the_receiver_lets_pass():
    span = 10
    exact = bursts_by_span(SHORT, span)
    asked = module._through_the_receiver(SHORT, span, 8, 1e9, None)
    # Both look at all starts within the frame; a burst that begins after it changes nothing.
    assert dict(exact.counts) == dict(asked.counts)


def test_bursts_of_sent_are_counted_and_those_listed_pass():
    sent = fs.encode(fs.SentFrame(status=5, nibbles=(1, 2, 3)))
    table = bursts_by_span(sent, 3)
    assert table.examples
    assert {flips[-1] - flips[0] + 1 for flips in table.examples} <= {span for span, _ in table.counts}
    for flips in table.examples:
        assert fs.judge(sent, sent.flipped(flips)).outcome is fs.Outcome.UNDETECTED


def test_a_span_that_takes_too_long_is_refused_with_its_time():
    sent = fs.encode(fs.FlexRayFrame(frame_id=37, payload=bytes(8), cycle=5))
    with pytest.raises(fs.NotFeasible, match=r"patterns through the receiver of flexray take about .* budget_s=1"):
        bursts_by_span(sent, 24, budget_s=1)


def test_patterns_of_a_span_are_counted_at_every_start():
    table = bursts_by_span(SHORT, 4)
    # first and last bit flipped, the two between them in any of four ways
    assert [table.patterns(span) / table.starts for span in (1, 2, 3, 4)] == [1, 1, 2, 4]
    assert table.of_span(4) == sum(count for (span, _), count in table.counts.items() if span == 4)
