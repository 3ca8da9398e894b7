"""A campaign of exactly so many flips: bit-sliced receivers against the judge, frame for frame in the mean."""

import pytest

import framesim as fs
from framesim.coverage.campaign.judged_frames import JudgedFrames
from framesim.coverage.campaign.rules import Rules
from framesim.coverage.campaign.running import run_campaign
from framesim.coverage.campaign.sliced_frame import PORTION, SlicedFrame
from framesim.coverage.campaign.works import frames_work
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.patterns import undetected_patterns
from framesim.disturbance import ExactFlips

FRAME = fs.CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714"))  # two undetected pairs; own search


def test_a_campaign_of_pairs_takes_the_sliced_receivers_and_finds_the_pairs_there_are():
    work = frames_work(FRAME, ExactFlips(count=2), frames_per_unit=16 * PORTION)
    assert isinstance(work, SlicedFrame)
    totals = run_campaign(work, seed=3, rules=Rules(frames=48 * PORTION)).totals
    counts = totals.column("")
    assert counts["frames"] == counts["disturbed"] == 48 * PORTION
    assert counts["flips"] == 2 * counts["frames"]
    assert counts["delivered"] + counts["detected"] + counts["undetected"] + counts["unseen"] == counts["frames"]
    known = {pattern.flips for pattern in undetected_patterns(line_of(fs.encode(FRAME)), 2)}
    cases = [case for number in range(3) for case in work.unit(3, number).cases]
    assert cases
    assert {tuple(case["flips"]) for case in cases} <= known


def test_shares_by_check_agree_with_the_judge():
    """False-alarm rate below 1e-6 for all checks together: six standard deviations of the smaller sample; seed 5."""
    channel = ExactFlips(count=3)
    sliced = SlicedFrame(subject=FRAME, channel=channel, frames_per_unit=64 * PORTION).unit(5, 0).counts
    judged = JudgedFrames(subject=FRAME, channel=channel, frames_per_unit=4000).unit(5, 0).counts
    for name in ("first.stuffing", "first.form", "first.crc"):
        share = sliced[name] / sliced["frames"]
        spread = (share * (1 - share) / judged["frames"]) ** 0.5
        assert abs(judged[name] / judged["frames"] - share) < 6 * spread


@pytest.mark.parametrize("frames", [0, 100, PORTION + 1, 1 << 31])
def test_other_numbers_of_frames_are_refused(frames):
    with pytest.raises(fs.BadArgument, match="frames_per_unit"):
        SlicedFrame(subject=FRAME, channel=ExactFlips(count=2), frames_per_unit=frames)
