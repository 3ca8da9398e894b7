"""Campaigns on compiled receivers: against the judge, against exact patterns, and with and without the compiler."""

import sys

import numpy as np
import pytest

import framesim as fs
from framesim.coverage.campaign.compiled_frames import CompiledFrames, usual_frames
from framesim.coverage.campaign.judged_frames import JudgedFrames
from framesim.coverage.campaign.one_receiver import described
from framesim.coverage.campaign.rules import Rules
from framesim.coverage.campaign.running import run_campaign
from framesim.coverage.campaign.works import frames_work
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.patterns import undetected_patterns
from framesim.coverage.fast import engines, flips, reference, sliced
from framesim.coverage.fast import work as campaign_work
from framesim.coverage.fast.draws import flips_of
from framesim.coverage.fast.flips import portions
from framesim.coverage.fast.sending import draw_frames
from framesim.coverage.fast.sliced import engine
from framesim.coverage.fast.work import Sampling
from framesim.coverage.population import Payloads
from framesim.disturbance import Bursts, ExactFlips, GilbertElliott, Scatter

FRAME = fs.CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714"))  # two undetected pairs; own search
UNIT = 1 << 16


def test_a_campaign_of_pairs_finds_the_pairs_there_are():
    work = frames_work(FRAME, ExactFlips(count=2), frames_per_unit=UNIT)
    assert isinstance(work, CompiledFrames)
    totals = run_campaign(work, seed=3, rules=Rules(frames=3 * UNIT)).totals
    counts = totals.column("")
    assert counts["frames"] == counts["disturbed"] == 3 * UNIT
    assert counts["flips"] == 2 * counts["frames"]
    assert counts["delivered"] + counts["detected"] + counts["undetected"] + counts["unseen"] == counts["frames"]
    known = {pattern.flips for pattern in undetected_patterns(line_of(fs.encode(FRAME)), 2)}
    cases = [case for number in range(3) for case in work.unit(3, number).cases]
    assert cases
    assert {tuple(case["flips"]) for case in cases} <= known


@pytest.mark.parametrize("subject", [FRAME, Payloads(frame=FRAME)])
def test_shares_by_check_agree_with_the_judge(subject):
    """False-alarm rate below 1e-6 for all checks together: six standard deviations of the smaller sample; seed 5."""
    channel = GilbertElliott(good_to_bad=5e-3, bad_to_good=0.1, good_error=1e-3, bad_error=0.4)
    compiled = CompiledFrames(subject=subject, channel=channel, frames_per_unit=UNIT).unit(5, 0).counts
    judged = JudgedFrames(subject=subject, channel=channel, frames_per_unit=2000).unit(5, 0).counts
    for name in ("first.stuffing", "first.form", "first.crc", "disturbed"):
        share = compiled[name] / compiled["frames"]
        spread = (share * (1 - share) / judged["frames"]) ** 0.5
        assert abs(judged[name] / judged["frames"] - share) < 6 * spread


@pytest.mark.parametrize(
    "channel", [ExactFlips(count=2), Scatter(bit_error_ratio=0.02), Bursts(starts_per_bit=1e-3, mean_length=4)]
)
@pytest.mark.parametrize("population", [False, True])
def test_a_unit_is_the_same_where_numba_is_missing(monkeypatch, channel, population):
    frame = fs.CanFrame(identifier=0x123, payload=bytes(2))
    subject = Payloads(frame=frame) if population else frame
    work = frames_work(subject, channel, frames_per_unit=512)
    found = work.unit(4, 1)
    assert not work.slow
    assert found.counts["frames"] == 512
    assert sum(found.counts[name] for name in ("delivered", "detected", "undetected", "unseen")) == 512
    engine.cache_clear()
    monkeypatch.delitem(sys.modules, "framesim.kernels.sliced_made")
    monkeypatch.setitem(sys.modules, "numba", None)
    assert frames_work(subject, channel, frames_per_unit=512) == work  # the machine does not choose the work
    assert "numba is missing" in work.slow
    assert work.unit(4, 1) == found


@pytest.mark.parametrize("population", [False, True])
def test_what_is_listed_passes_undetected_again(population):
    subject = Payloads(frame=FRAME, low=FRAME.payload[:7] + b"\x10", high=FRAME.payload[:7] + b"\x1f")
    work = frames_work(subject if population else FRAME, ExactFlips(count=2), frames_per_unit=UNIT)
    cases = [(number, case) for number in (0, 3) for case in work.unit(1, number).cases]
    assert cases
    for number, case in cases:
        frame = fs.CanFrame(identifier=case["sent"]["identifier"], payload=bytes.fromhex(case["sent"]["payload"]))
        sent = fs.encode(frame)
        judgement = fs.judge(sent, sent.flipped(case["flips"]))
        assert judgement.outcome is fs.Outcome.UNDETECTED
        assert described(judgement.reception.frame) == case["read"]
        if population:
            drawn = draw_frames((subject,), np.ones(1), UNIT, seed=1, number=number).payloads[0]
            assert drawn[case["frame"] - number * UNIT].tobytes() == frame.payload
        else:
            assert "frame" not in case


def test_exact_flips_of_frames_of_any_lengths_are_different_bits_all_of_them_as_likely():
    """Chi-square over the 36 pairs of 9 bits, 35 degrees of freedom, limit 98 (false alarm 1e-7); seed 2."""
    lengths = np.array([9, 60, 5, 9] * 3000)
    ((first, stop, frame, place),) = portions(ExactFlips(count=2), lengths, 1, seed=2, number=0)
    assert (first, stop) == (0, len(lengths))
    assert (np.bincount(frame) == 2).all()
    pairs = place.reshape(-1, 2)
    assert (pairs[:, 0] < pairs[:, 1]).all()
    assert (pairs[:, 1] < lengths).all()
    one, two = pairs[lengths == 9].T
    found = np.bincount(9 * one + two, minlength=81).reshape(9, 9)[np.triu_indices(9, 1)]
    expected = found.sum() / 36
    assert ((found - expected) ** 2 / expected).sum() < 98


@pytest.mark.parametrize("channel", [ExactFlips(count=3), Bursts(starts_per_bit=0.05, mean_length=4)])
def test_portions_of_a_unit_are_drawn_apart(monkeypatch, channel):
    monkeypatch.setattr(flips, "PLACES_AT_ONCE", 50 * 40)
    found = list(portions(channel, np.full(6, 50), 20, seed=2, number=0))
    assert [(first, stop) for first, stop, *_ in found] == [(0, 2), (2, 4), (4, 6)]
    drawn = {(pattern.tobytes(), place.tobytes()) for _, _, pattern, place in found}
    assert len(drawn) == 3


@pytest.mark.parametrize("channel", [
    GilbertElliott(good_to_bad=0.5, bad_to_good=0.5, good_error=0.0, bad_error=1e-5),
    Bursts(starts_per_bit=0.5, mean_length=1.0, density=1e-5),
])  # fmt: skip
def test_a_channel_that_often_changes_its_state_is_drawn_in_small_portions_though_it_flips_little(monkeypatch, channel):
    monkeypatch.setattr(flips, "FLIPS_AT_ONCE", 2 * 50 * 20)  # two frames of 50 bits, 20 times, begin 1000 stretches
    found = list(portions(channel, np.full(6, 50), 20, seed=2, number=0))
    assert [(first, stop) for first, stop, *_ in found] == [(0, 2), (2, 4), (4, 6)]


def test_a_frame_sent_very_often_is_drawn_piece_by_piece(monkeypatch):
    monkeypatch.setattr(flips, "PLACES_AT_ONCE", 50 * 40)
    found = list(portions(ExactFlips(count=3), np.full(2, 50), 100, seed=2, number=0))
    assert [(first, stop) for first, stop, *_ in found] == [(0, 1)] * 3 + [(1, 2)] * 3
    for frame in (0, 1):
        mine = found[3 * frame : 3 * frame + 3]
        assert np.array_equal(np.concatenate([pattern for _, _, pattern, _ in mine]), np.repeat(np.arange(100), 3))
        assert [len(place) for *_, place in mine] == [120, 120, 60]
    drawn = {place.tobytes()[:240] for *_, place in found}
    assert len(drawn) == 6


@pytest.mark.parametrize("channel", [ExactFlips(count=30), Scatter(bit_error_ratio=0.5)])
@pytest.mark.parametrize(("frame", "drawn"), [
    (fs.CanFrame(identifier=5, payload=b"ab"), flips_of), (fs.LinFrame(identifier=5, payload=b"ab"), portions),
])  # fmt: skip
def test_pieces_of_a_unit_are_judged_like_the_whole(monkeypatch, frame, drawn, channel):
    work = Sampling(sources=(frame,), channel=channel, payloads=2, repeats=300)
    monkeypatch.setattr(flips, "PLACES_AT_ONCE", 1 << 12)
    monkeypatch.setattr(sliced, "FLIPS_AT_ONCE", 1 << 9)
    found = work.unit(3, 1)
    assert found.counts["disturbed"] == 600
    with monkeypatch.context() as patch:
        patch.setattr(campaign_work, "_engine_of", lambda _: reference.Reference(note="asked for", flips_of=drawn))
        assert work.unit(3, 1) == found


def test_scatter_that_needs_more_room_within_a_frame_is_judged_like_the_whole(monkeypatch):
    work = Sampling(sources=(FRAME,), channel=Scatter(bit_error_ratio=0.9), payloads=2, repeats=400)
    drawn, rows = sliced.Sliced._scattered, []

    def watched(*given):
        for portion in drawn(*given):
            rows.append(portion[:2])
            yield portion

    monkeypatch.setattr(sliced, "FLIPS_AT_ONCE", 1 << 9)
    monkeypatch.setattr(sliced.Sliced, "_scattered", watched)
    found = work.unit(3, 1)
    assert rows == [(0, 2), (1, 2)]  # the second frame comes again
    with monkeypatch.context() as patch:
        patch.setattr(campaign_work, "_engine_of", lambda _: reference.Reference(note="asked for", flips_of=flips_of))
        assert work.unit(3, 1) == found


@pytest.mark.parametrize(("channel", "frames"), [
    (ExactFlips(count=2), 655), (ExactFlips(count=100), 40), (Scatter(bit_error_ratio=0.5), 81),
])  # fmt: skip
def test_a_portion_of_many_flips_holds_fewer_frames(monkeypatch, channel, frames):
    monkeypatch.setattr(flips, "PLACES_AT_ONCE", 1 << 16)
    monkeypatch.setattr(flips, "FLIPS_AT_ONCE", 1 << 12)
    first, stop, pattern, _ = next(portions(channel, np.full(2000, 100), 1, seed=2, number=0))
    assert (first, stop) == (0, frames)
    assert len(pattern) < 1.1 * (1 << 12)


def test_a_network_without_compiled_receivers_goes_before_the_judge(monkeypatch):
    monkeypatch.setattr(engines, "ENGINES", ("sliced",))
    lin = fs.LinFrame(identifier=1, payload=b"ab")
    assert isinstance(frames_work(lin, ExactFlips(count=2)), JudgedFrames)


class Slow:
    """An engine of a network, as another module would offer it."""

    note = ""


def test_a_network_that_gains_an_engine_gains_its_campaigns(monkeypatch):
    monkeypatch.setattr(engines, "engine_for", lambda network, sources: Slow())
    work = frames_work(fs.LinFrame(identifier=1, payload=b"ab"), ExactFlips(count=2))
    assert isinstance(work, CompiledFrames)
    assert work.frames_per_unit == 1 << 20


def test_units_of_long_frames_hold_fewer_of_them():
    assert usual_frames(FRAME) == 1 << 20
    assert usual_frames(Payloads(frame=FRAME)) == 1 << 17
    long = fs.EthernetFrame(destination=bytes(6), source=bytes(6), ethertype=0x88B5, payload=bytes(1500))
    assert usual_frames(Payloads(frame=long)) <= (1 << 25) / (8 * 1500)
    assert usual_frames(long) * 8 * 1500 <= 1 << 28


@pytest.mark.parametrize(("population", "frames"), [(False, 0), (False, (1 << 24) + 1), (True, (1 << 20) + 1)])
def test_other_numbers_of_frames_are_refused(population, frames):
    with pytest.raises(fs.BadArgument, match="frames_per_unit"):
        frames_work(Payloads(frame=FRAME) if population else FRAME, ExactFlips(count=2), frames_per_unit=frames)
