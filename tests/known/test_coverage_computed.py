"""What ``coverage`` computes beside what it draws: the same as ``residual`` over the very frames that are sent."""

import json

import pytest

import framesim as fs
from framesim.coverage.computed import SentPayloads, computed_undetected
from framesim.coverage.measure import measure_coverage
from framesim.coverage.population import Population
from framesim.coverage.scenario import scenario_from_text
from framesim.coverage.traffic import Traffic

TEXT = """
title = "a channel"
seed = 4
frames = {frames}
[disturbance]
{channel}
[signal]
name = "pressure"
unit = "bar"
low = 0
high = 160
centre = 90
swing = 40
swing_s = 23
every_s = 0.01
[sender]
identifier = 0x1A4
payload_bytes = 3
"""
SCATTER = 'kind = "scatter"\nbit_error_ratio = 0.01'


def scenario(frames, channel=SCATTER):
    return scenario_from_text(TEXT.format(frames=frames, channel=channel), file="test")


def test_few_frames_are_all_summed_up():
    given = scenario(5)
    report = measure_coverage(given)
    (result,) = report.frames
    traffic = Traffic(given)
    listed = fs.Listed(frames=[traffic.frame(slot) for slot in range(5)])
    whole = fs.residual(listed, given.disturbance)
    assert result.computed is not None
    # Counts up to six flips are complete; seven and more are summed over a few frames, hence an interval.
    assert result.computed.estimate.low <= whole.probability <= result.computed.estimate.high
    assert result.computed.estimate.best == pytest.approx(whole.probability, rel=0.02)
    link = json.loads(report.to_json())["links"][0]
    assert link["probability"] == result.computed.estimate.best
    assert link["basis"].endswith("over the frames sent")
    assert link["sampled"]["method"] == "Clopper-Pearson"


def test_the_frames_sent_are_a_population_in_any_order():
    given = scenario(500)
    traffic = Traffic(given)
    sent = SentPayloads(traffic, 500, seed=9)
    assert isinstance(sent, Population)
    assert [row.tobytes() for row in sent.every(3, 4)] == [traffic.frame(slot).payload for slot in range(3, 7)]
    together = sent.draw(0, 40)
    assert (together[25:] == sent.draw(25, 15)).all()
    known = {traffic.frame(slot).payload for slot in range(500)}
    assert {row.tobytes() for row in together} <= known
    with pytest.raises(fs.BadArgument):
        sent.every(499, 2)


@pytest.mark.parametrize(("frames", "computed"), [(1, True), (11, False)])
def test_a_channel_with_memory_is_summed_whole_for_few_frames(frames, computed):
    channel = 'kind = "gilbert-elliott"\ngood_to_bad = 1e-3\nbad_to_good = 0.1\nbad_error = 0.3'
    given = scenario(frames, channel)
    (result,) = measure_coverage(given).frames
    assert (result.computed is not None) == computed
    if result.computed is not None:
        traffic = Traffic(given)
        each = [fs.residual(traffic.frame(slot), given.disturbance).probability for slot in range(frames)]
        assert result.computed.estimate.best == pytest.approx(sum(each) / frames, rel=1e-9)


def test_a_network_without_exact_means_is_left_to_the_frames_drawn():
    given = scenario(5)
    found = computed_undetected(
        Traffic(given), given.disturbance, network="can-fd", n_frames=5, seed=1, confidence=0.95
    )
    assert found is None


def test_a_wire_that_never_flips_is_certain_and_one_that_always_does_is_only_limited():
    never, always = (
        measure_coverage(scenario(12, f'kind = "scatter"\nbit_error_ratio = {ratio}')).frames[0].computed.estimate
        for ratio in "01"
    )
    assert (never.low, never.high) == (0.0, 0.0)
    # Twelve frames in which all bits are inverted: none was accepted, which does not exclude that others are.
    assert always.low == 0.0
    assert 0.01 < always.high < 1
