"""What holds for every frame and channel: the exact method against itself."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from framesim import BadArgument, CanFrame, NotFeasible, encode
from framesim.coverage.exact.forms import Form
from framesim.coverage.exact.graded import counts_by_flips
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.listed import mean_of_listed
from framesim.coverage.exact.numeric import fate_of, first_to_speak
from framesim.coverage.exact.patterns import undetected_bursts, undetected_patterns
from framesim.coverage.exact.survey import Beyond, Survey, rest_of
from framesim.coverage.exact.worst import worst_payload
from framesim.coverage.population import Listed, Payloads
from framesim.disturbance import Bursts, Scatter
from framesim.strategies import can_frames

ONE_FLIP = bytes.fromhex("3B18D3BF5B60C104")


def total(fate):
    return fate.delivered + fate.undetected + fate.unseen + sum(fate.by_check.values())


@settings(max_examples=8)
@given(frame=can_frames(), ratio=st.sampled_from([0.0, 1e-9, 1e-4, 0.01, 0.5, 1.0]))
def test_a_fate_is_all_there_is(frame, ratio):
    line = line_of(encode(frame))
    fate = fate_of(line, Scatter(bit_error_ratio=ratio).matrices(), tolerance=1e-2)
    assert total(fate) == pytest.approx(1, abs=1e-12)
    assert 0 <= fate.omitted <= 1e-2 * fate.undetected
    assert sum(fate.by_end.values()) == pytest.approx(fate.undetected, rel=1e-12)
    rough = first_to_speak(line, Scatter(bit_error_ratio=ratio).matrices())
    assert total(rough) == pytest.approx(1, abs=1e-12)
    assert rough.delivered == fate.delivered


@settings(max_examples=20)
@given(frame=can_frames())
def test_counts_grow_with_what_is_asked_for_and_fall_with_the_end(frame):
    line = line_of(encode(frame))
    long, short = counts_by_flips(line, 4), counts_by_flips(line, 3)
    assert short.by_flips() == {flips: count for flips, count in long.by_flips().items() if flips <= 3}
    assert all(long.by_flips(same_end=True)[flips] <= count for flips, count in long.by_flips().items())
    assert long.probability(1e-3, same_end=True) <= long.probability(1e-3) < 1
    assert long.probability(0.0) == 0


@settings(max_examples=10)
@given(frame=can_frames(min_size=1), seed=st.integers(0, 2**64 - 1))
def test_a_form_lays_frames_as_the_encoder_does_and_counts_as_one_by_one(frame, seed):
    if frame.remote:
        frame = replace(frame, remote=False, dlc=1, payload=b"\x00")
    form = Form(frame)
    payloads = Payloads(frame=frame, seed=seed).draw(0, 6)
    payloads[0], payloads[1] = 0, 255
    wires, sent_bits = form.wires(form.words(payloads))
    counts = form.counts(payloads, 3)
    for number, payload in enumerate(payloads):
        sent = encode(replace(frame, payload=payload.tobytes()))
        assert sent.bits.tolist() == wires[number, : sent_bits[number]].tolist()
        alone = counts_by_flips(line_of(sent), 3)
        assert alone.by_flips() == {flips: int(counts[number, flips].sum()) for flips in (1, 2, 3)}
        for place, end in enumerate(alone.ends):
            assert (counts[number, :, end] == alone.counts[:, place]).all()


def test_the_fast_search_for_single_flips_finds_what_the_slow_one_does():
    form = Form(CanFrame(identifier=0x482, payload=bytes(8)))
    payloads = Payloads(frame=form.frame, seed=3).draw(0, 400)
    payloads[7] = payloads[250] = np.frombuffer(ONE_FLIP, np.uint8)
    frame, place, end, sent_bits = form.singles(payloads)
    wanted = [
        (number, *pattern.flips, pattern.end)
        for number, payload in enumerate(payloads)
        for pattern in undetected_patterns(form.line_with(payload), 1)
    ]
    assert wanted == list(zip(frame.tolist(), place.tolist(), end.tolist(), strict=True))
    assert frame.tolist() == [7, 250]
    assert (sent_bits == form.wires(form.words(payloads))[1]).all()


@given(
    low=st.binary(min_size=6, max_size=6),
    spread=st.tuples(*[st.integers(0, 255)] * 6),
    seed=st.integers(0, 2**64 - 1),
    first=st.integers(0, 2**50),
)
def test_payloads_are_drawn_frame_by_frame_within_their_bounds(low, spread, seed, first):
    high = bytes(min(255, least + more) for least, more in zip(low, spread, strict=True))
    some = Payloads(frame=CanFrame(identifier=1, payload=bytes(6)), low=low, high=high, seed=seed)
    whole = some.draw(first, 9)
    assert (whole == np.concatenate([some.draw(first, 4), some.draw(first + 4, 5)])).all()
    assert (whole >= np.frombuffer(low, np.uint8)).all()
    assert (whole <= np.frombuffer(high, np.uint8)).all()


def test_every_payload_within_the_bounds_is_listed_once():
    some = Payloads(frame=CanFrame(identifier=1, payload=bytes(3)), low=b"\x01\x00\xfe", high=b"\x03\x00\xff")
    assert some.size == 6
    assert some.every(0, 6).tolist() == [[a, 0, b] for a in (1, 2, 3) for b in (0xFE, 0xFF)]
    assert some.every(4, 1).tolist() == [[3, 0, 0xFE]]
    with pytest.raises(BadArgument, match="first \\+ count=7"):
        some.every(6, 1)


@pytest.mark.parametrize("flips", [1, 3])
def test_a_survey_holds_the_counts_of_the_frames_it_drew(flips):
    population = Payloads(frame=CanFrame(identifier=0x482, payload=bytes(8)), seed=8)
    at_once, by_steps = Survey(population, workers=2), Survey(population)
    at_once.extend(flips, 900)
    by_steps.extend(flips, 250)
    by_steps.extend(flips, 900)
    stratum = at_once.strata[flips]
    for name in ("frame", "flips", "end", "at_own_end", "count"):
        assert (getattr(stratum, name) == getattr(by_steps.strata[flips], name)).all()
    payloads = population.draw(flips << 40, 900)
    wanted = at_once.form.counts(payloads, flips)[:, flips].sum(axis=1)
    assert (np.bincount(stratum.frame, weights=stratum.count, minlength=900) == wanted).all()
    assert len(stratum.values(0.01, same_end=False)) == stratum.frames == 900


def test_what_the_counts_leave_out_is_limited_from_a_larger_ratio():
    line = line_of(encode(CanFrame(identifier=0x2C3, payload=b"\x5a\x01")))
    counts = counts_by_flips(line, 6)
    (at_end, omitted), (truly, _) = rest_of(line, counts, 0.02), rest_of(line, counts, 0.01)
    anchor = Beyond(ratio=0.02, longest=len(line.bits), rest=[at_end], own_end=[line.accept_at], omitted=[omitted])
    assert anchor.values(0.02, same_end=False)[0] == pytest.approx(sum(at_end.values()))
    limit = anchor.values(0.01, same_end=False)[0] + anchor.lacking(0.01)[0]
    assert sum(truly.values()) <= limit <= 1.6 * sum(truly.values())
    assert anchor.values(0.01, same_end=True)[0] <= anchor.values(0.01, same_end=False)[0]


def test_a_list_has_the_mean_of_its_frames():
    frames = [CanFrame(identifier=0x10, payload=b"\x00"), CanFrame(identifier=0x7F0, payload=b"\xf8\x1f")]
    channel = Scatter(bit_error_ratio=1e-3)
    alone = [fate_of(line_of(encode(frame)), channel.matrices()) for frame in frames]
    mean = mean_of_listed(Listed(frames=frames, weights=[3, 1]), channel)
    assert mean.estimate.best == pytest.approx(0.75 * alone[0].undetected + 0.25 * alone[1].undetected, rel=1e-12)
    assert mean.verdicts.delivered == pytest.approx(0.75 * alone[0].delivered + 0.25 * alone[1].delivered, rel=1e-12)
    assert sum(mean.shares.values()) == pytest.approx(1, rel=1e-3)
    with pytest.raises(NotFeasible, match="frames: 2 of them take"):
        mean_of_listed(Listed(frames=frames), channel, budget_s=0.1)


def test_the_worst_payload_found_is_as_bad_as_said_and_the_same_each_time():
    frame = CanFrame(identifier=0x482, payload=bytes(8))
    found = worst_payload(frame, tries=2500, seed=5)
    assert found == worst_payload(frame, tries=2500, seed=5)
    assert found.frame.payload == found.payload
    assert found.patterns[2] >= 1
    assert found.patterns == counts_by_flips(line_of(encode(found.frame)), 4).by_flips()
    ends = undetected_patterns(line_of(encode(found.frame)), 2)
    assert len(ends) == found.patterns[2]


WRONG = {
    "flips=0": lambda line: undetected_patterns(line, 0),
    "flips=6": lambda line: undetected_patterns(line, 6),
    "up_to=7": lambda line: counts_by_flips(line, 7),
    "span=31": lambda line: undetected_bursts(line, 31),
    "tolerance=0": lambda line: fate_of(line, Scatter(bit_error_ratio=0.1).matrices(), tolerance=0),
    "flips=3": lambda line: worst_payload(line.sent.frame, flips=3),
    "tries=1": lambda line: worst_payload(line.sent.frame, tries=1),
    "low=b'12'": lambda line: Payloads(frame=line.sent.frame, low=b"12"),
    "high[0]=0x0": lambda line: Payloads(frame=line.sent.frame, low=b"\x01", high=b"\x00"),
    "frames=[]": lambda line: Listed(frames=[]),
    "weights": lambda line: Listed(frames=[line.sent.frame], weights=[-1.0]),
}


@pytest.mark.parametrize("named", WRONG)
def test_bad_arguments_are_named(named):
    line = line_of(encode(CanFrame(identifier=1, payload=b"\x00")))
    with pytest.raises(BadArgument, match=named.replace("[", r"\[").replace("]", r"\]")):
        WRONG[named](line)


def test_a_channel_with_too_many_states_is_refused_with_what_it_would_take():
    line = line_of(encode(CanFrame(identifier=1, payload=bytes(8))))
    channel = Bursts(starts_per_bit=0.01, mean_length=200, lengths="fixed", density=0.5)
    with pytest.raises(NotFeasible, match="GiB of memory for 201 states of the channel and 15 register bits"):
        fate_of(line, channel.matrices())
