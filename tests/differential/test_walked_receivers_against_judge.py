"""Receivers that are walked only off the path, against the reference receiver: the same verdict on every frame."""

import random
import sys
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from bitarray import bitarray
from random_frames import random_frame
from walked_verdicts import Listed, differences, edge_flips, judged, near_flips, spread_flips, swap_flips

import framesim as fs
from framesim.coverage.fast import engines, reference, walked, work
from framesim.coverage.fast.differences import guard_numbers, view_of
from framesim.coverage.fast.laid import shape_of
from framesim.coverage.fast.steady import bits_by_field
from framesim.coverage.fast.walked import Walked, engine
from framesim.coverage.fast.work import Sampling
from framesim.coverage.linear.lin import lin_patterns
from framesim.coverage.linear.sent import sent_patterns
from framesim.coverage.population import Payloads
from framesim.disturbance import Bursts, ExactFlips, GilbertElliott
from framesim.errors import NotFeasible
from framesim.networks.registry import network_of

NETWORKS = ("lin", "flexray", "sent", "ethernet")
ADVERSARIAL = (near_flips, edge_flips, swap_flips)


LIN = tuple(
    Payloads(frame=fs.LinFrame(identifier=identifier, payload=bytes(size), checksum=checksum))
    for identifier, size, checksum in ((0x3B, 1, "enhanced"), (0x10, 2, "classic"), (0x3C, 2, "classic"))
)
FLEXRAY = {"frame_id": 1, "cycle": 5, "sync": True}
STATIC = (
    Payloads(frame=fs.FlexRayFrame(**FLEXRAY, payload=bytes(6))),
    fs.FlexRayFrame(**FLEXRAY, startup=True),
    fs.FlexRayFrame(frame_id=9, null=True, payload=bytes(4)),
)
SENT = tuple(
    fs.SentFrame(status=5, nibbles=(7, 0), pause=pause, crc_form=form)
    for pause, form in ((None, "recommended"), (40, "recommended"), (None, "legacy"))
)
ADDRESSES = {"destination": b"\x01brush", "source": b"\x02sweep"}
ETHERNET = (
    Payloads(frame=fs.EthernetFrame(**ADDRESSES, ethertype=0x88B5, payload=bytes(46))),
    Payloads(frame=fs.EthernetFrame(**ADDRESSES, ethertype=12, payload=bytes(12), vlan=7, priority=3)),
)
SOURCES = {
    "lin": LIN,
    "flexray": STATIC,
    "flexray-b": (Payloads(frame=fs.FlexRayFrame(frame_id=2047, payload=bytes(8), channel="B")),),
    "flexray-dynamic": (Payloads(frame=fs.FlexRayFrame(frame_id=64, payload=bytes(2), dynamic=True)),),
    "flexray-b-dynamic": (fs.FlexRayFrame(frame_id=65, dynamic=True, channel="B", preamble_indicator=True),),
    "sent": SENT,
    "ethernet": ETHERNET,
}


def few_frames(name, rng):
    """Frames of a few shapes, because each shape of LIN and SENT costs half a second to put in numbers."""
    if name in ("flexray", "ethernet"):
        return [random_frame(name, rng) for _ in range(8)]
    return [source.frame if isinstance(source, Payloads) else source for source in SOURCES[name]]


@pytest.mark.parametrize("name", NETWORKS)
def test_every_frame_gets_the_verdict_of_the_reference_receiver(name):
    rng = random.Random(4)
    frames = few_frames(name, rng)
    patterns = (800 if name == "ethernet" else 1800) // len(frames)
    wrong, said, left = differences(rng, frames, patterns, (*[spread_flips] * 3, *ADVERSARIAL))
    assert wrong == 0
    assert min(said["delivered"], said["undetected"]) >= 5
    assert sum(count for kind, count in left.items() if kind != "undetected") < said.total() / 50


@pytest.mark.slow
@pytest.mark.parametrize("name", NETWORKS)
@pytest.mark.parametrize(("frames", "ways"), [(400, (spread_flips,)), (44, ADVERSARIAL)], ids=["random", "adversarial"])
def test_a_million_frames_get_the_verdict_of_the_reference_receiver(name, frames, ways):
    rng = random.Random(5)
    assert differences(rng, [random_frame(name, rng) for _ in range(frames)], 2500, ways)[0] == 0


def by_the_reference(monkeypatch, sampling, seed, number):
    with monkeypatch.context() as patch:
        patch.setattr(work, "_engine_of", lambda _: reference.Reference(note="asked for"))
        return sampling.unit(seed, number)


@pytest.mark.parametrize("channel", [
    ExactFlips(count=2),
    GilbertElliott(good_to_bad=1e-2, bad_to_good=0.1, good_error=1e-3, bad_error=0.5),
    Bursts(starts_per_bit=1e-3, mean_length=6, lengths="fixed"),
], ids=lambda channel: type(channel).__name__)  # fmt: skip
@pytest.mark.parametrize("name", SOURCES)
def test_a_unit_gives_what_the_reference_receiver_gives_of_the_same_flips(monkeypatch, name, channel):
    repeats = 3 if name == "ethernet" else 5
    sampling = Sampling(sources=SOURCES[name], channel=channel, payloads=8, repeats=repeats, most_cases=3)
    assert sampling.note == ""
    assert isinstance(work._engine_of(sampling), Walked)
    assert sampling.unit(5, 7) == by_the_reference(monkeypatch, sampling, 5, 7)


def test_a_unit_is_the_same_when_more_is_listed_than_there_is_room_for(monkeypatch):
    frame = fs.SentFrame(status=3, nibbles=(8,), crc_form="legacy")
    every = tuple((place,) for place in range(len(fs.encode(frame))))  # four pass undetected, twice
    sampling = Sampling(sources=(frame,), channel=Listed(every * 2), payloads=2, repeats=len(every), most_cases=3)
    expected = by_the_reference(monkeypatch, sampling, 2, 1)
    assert expected.counts["undetected"] == 8
    monkeypatch.setattr(walked, "ROOM", 3)
    assert sampling.unit(2, 1) == expected


@pytest.mark.parametrize("acceptance", ["receiver_only", "same_end"])
def test_all_pairs_of_flips_of_a_lin_frame_end_as_the_judge_says_and_list_the_same_cases(monkeypatch, acceptance):
    frame = fs.LinFrame(identifier=0x05, payload=b"\x63")
    pairs = tuple(combinations(range(len(fs.encode(frame))), 2))
    sampling = Sampling(
        sources=(frame,), channel=Listed(pairs), payloads=1, repeats=len(pairs), most_cases=3, acceptance=acceptance
    )
    found = sampling.unit(1, 0)
    assert found == by_the_reference(monkeypatch, sampling, 1, 0)
    assert found.counts["undetected"] > len(found.cases) == 3
    assert (found.counts.get("other_end", 0) > 0) == (acceptance == "same_end")


def test_a_frame_that_ends_sooner_than_its_sender_sent_it_is_at_another_end():
    sent, other = (fs.encode(fs.LinFrame(identifier=0x05, payload=payload)) for payload in (b"\x63", b"\x36"))
    sooner = other.bits[1:] + bitarray("1")  # a bit less of the break
    flips = tuple((sent.bits ^ sooner).search(1))
    sampling = Sampling(sources=(sent.frame,), channel=Listed((flips,)), payloads=1, repeats=1, acceptance="same_end")
    assert sampling.unit(1, 0).counts["other_end"] == 1


@pytest.mark.parametrize(("frame", "counted"), [
    (fs.LinFrame(identifier=0x23, payload=b"\x4a\x55"), lin_patterns),
    (fs.LinFrame(identifier=0x05, payload=b"\x00\x00", checksum="classic"), lin_patterns),
    (fs.LinFrame(identifier=0x05, payload=b"\xfe\x01", checksum="classic"), lin_patterns),  # adds up to 255
    (fs.SentFrame(status=3, nibbles=(7,)), sent_patterns),
    (fs.SentFrame(status=15, nibbles=(0,), crc_form="legacy"), sent_patterns),
])  # fmt: skip
def test_as_many_pairs_of_flips_pass_undetected_as_the_exact_method_counts(frame, counted):
    sent = fs.encode(frame)
    for flips in (1, 2):
        counts, aside = judged(frame, list(combinations(range(len(sent)), flips)))
        assert counts["undetected"] == counted(sent, 2, quiet=True)[flips]
        assert aside < 5  # a start bit was missed, and the identifier read instead bears another checksum


def one_unit(frame, flips):
    """The counts of a unit of one frame with the given flips."""
    return Sampling(sources=(frame,), channel=Listed((tuple(flips),)), payloads=1, repeats=1).unit(1, 0).counts


def flips_towards(frame, changed, fitted):
    """Flips that put other bits into some fields of a frame, and make some codes fit them."""
    network = network_of(frame)
    fields = network.layout.fields
    own = bits_by_field(network.layout, fs.encode(frame))
    bits = {**own, **changed}
    for name in fitted:
        expected = fields[network.layout.place[name]].guard.expected(view_of(fields, bits))
        bits[name] = bitarray(f"{expected:0{len(own[name])}b}")
    shape = shape_of(frame)
    differ = [(name, place) for name in own for place in range(len(own[name])) if own[name][place] != bits[name][place]]
    return [int(shape.wire_at[shape.path.first[name] + place]) for name, place in differ]


def test_a_flexray_frame_that_only_a_rule_refuses_is_left_to_the_judge():
    # Frame ID 1 becomes 0, which no sender uses, and both CRCs are made to fit: the rule at the end speaks.
    flips = flips_towards(STATIC[1], {"frame ID": bitarray(11)}, ("header CRC", "frame CRC"))
    assert one_unit(STATIC[1], flips)["first.form"] == 1


def test_a_flexray_length_that_its_header_crc_lets_pass_is_left_to_the_judge():
    # The receiver takes the frame CRC for payload, and finds the frame end where a byte should start.
    flips = flips_towards(STATIC[1], {"payload length": bitarray("0000001")}, ("header CRC",))
    assert one_unit(STATIC[1], flips)["first.line_code"] == 1


def test_a_lin_identifier_that_calls_for_the_other_checksum_is_left_to_the_judge():
    # Bit 2 of the identifier, its first parity bit, bit 2 of the checksum: identifier 0x3F bears the classic one.
    assert one_unit(fs.LinFrame(identifier=0x3B, payload=b"\x05"), (27, 31, 47))["undetected"] == 1


def test_a_tagged_ethernet_frame_read_as_one_without_a_tag_is_too_long():
    frame = fs.EthernetFrame(**ADDRESSES, ethertype=0x88B5, payload=bytes(1500), vlan=7)
    tag = next(span for span in fs.encode(frame).spans if span.name == "tag protocol identifier")
    assert one_unit(frame, (tag.start,))["first.length"] == 1
    assert one_unit(frame, (tag.stop + 40,))["first.crc"] == 1


def test_an_ethernet_frame_within_the_payload_of_one_whose_delimiter_was_hit_is_accepted():
    inner = fs.encode(fs.EthernetFrame(destination=b"inside", source=b"source", ethertype=0x88B5))
    begin = inner.spans[0].stop  # of the delimiter, which is part of the payload too
    carried = bitarray(inner.bits[begin:-32].to01(), endian="little").tobytes()
    frame = fs.EthernetFrame(destination=bytes(6), source=bytes(6), ethertype=0x88B5, payload=b"\x55" + carried)
    sent = fs.encode(frame)
    check = [at for at in range(len(sent) - 32, len(sent)) if sent.bits[at] != inner.bits[at - len(sent)]]
    assert len(check) > 5
    assert one_unit(frame, (begin + 4, *check))["undetected"] == 1
    assert one_unit(frame, (begin + 4, *check[1:]))["first.crc"] == 1


@pytest.mark.parametrize("name", NETWORKS)
def test_frames_are_laid_on_the_wire_as_the_encoder_lays_them(name):
    rng = random.Random(7)
    for source in SOURCES[name]:
        if isinstance(source, Payloads):
            payloads = [bytes(source.n_bytes), b"\xff" * source.n_bytes, *[rng.randbytes(source.n_bytes)] * 4]
            laid = shape_of(source).lay(np.array([list(payload) for payload in payloads], np.uint8))
            for payload, wire in zip(payloads, laid.wires.tolist(), strict=True):
                assert fs.encode(replace(source.frame, payload=payload)).bits == bitarray(wire)


def test_without_numba_a_unit_is_slow_but_the_same(monkeypatch):
    sampling = Sampling(sources=LIN, channel=ExactFlips(count=2), payloads=6, repeats=10)
    expected = sampling.unit(1, 0)
    monkeypatch.delitem(sys.modules, "framesim.kernels.compiled")
    monkeypatch.setitem(sys.modules, "numba", None)
    assert "numba is missing" in sampling.note
    assert sampling.unit(1, 0) == expected
    monkeypatch.undo()
    assert sampling.note == ""


def test_whether_frames_have_a_compiled_receiver_is_the_same_without_numba(monkeypatch):
    def too_different(source):
        raise NotFeasible("walked: on purpose")

    frame = fs.SentFrame(status=0, nibbles=(1,))
    found = [engines.has_compiled(network_of(frame), (frame,))]
    monkeypatch.setattr(walked, "shape_of", too_different)
    found.append(engines.has_compiled(network_of(frame), (frame,)))
    monkeypatch.delitem(sys.modules, "framesim.kernels.compiled")
    monkeypatch.setitem(sys.modules, "numba", None)
    found.append(engines.has_compiled(network_of(frame), (frame,)))
    assert found == [True, False, False]


def test_a_unit_gives_the_same_whatever_was_done_before():
    sampling = Sampling(sources=LIN, channel=ExactFlips(count=2), payloads=48, repeats=64)
    first = [sampling.unit(1, number) for number in (0, 1, 2)]
    assert [sampling.unit(1, number) for number in (2, 0, 1)] == [first[2], first[0], first[1]]
    assert len({tuple(result.counts.items()) for result in first}) == 3


def test_a_code_that_is_neither_linear_nor_a_sum_is_refused():
    sent = fs.encode(LIN[1].frame)
    layout = network_of(sent.frame).layout
    rows, bits = layout.fields, bits_by_field(layout, sent)
    guarded = rows[layout.place["checksum"]]
    squared = replace(guarded.guard, expected=lambda view: sum(view.values["data"]) ** 2 & 0xFF)
    with pytest.raises(NotFeasible, match="neither a linear code nor a sum"):
        guard_numbers(rows, replace(guarded, guard=squared), bits)
    wired = replace(guarded.guard, expected=lambda view: view.coded("data").count() & 1)
    with pytest.raises(NotFeasible, match="looks at the wire bits of data"):
        guard_numbers(rows, replace(guarded, guard=wired), bits)


@pytest.mark.parametrize("name", ["can", "can-fd", "can-xl"])
def test_formats_whose_path_depends_on_their_content_are_refused(name):
    with pytest.raises(NotFeasible, match="stuffs bits"):
        engine(network_of(random_frame(name, random.Random(1))))
