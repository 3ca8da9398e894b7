"""One value on every network: figures that can be worked out by hand."""

import json
import random
from html.parser import HTMLParser

import pytest

import framesim as fs
from framesim.coverage.carriers import CARRIERS
from framesim.coverage.compare import bit_bounds, compare
from framesim.errors import BadArgument
from framesim.report.compare_page import comparison_page
from framesim.report.compare_rows import parts

EVERY_NETWORK = set(fs.networks())


@pytest.fixture(scope="module")
def small():
    return compare(value_bits=12, patterns=20)


def lane(comparison, name):
    return next(one for one in comparison.lanes if one.network == name)


def test_every_network_carries_the_value_or_says_why_not(small):
    assert json.loads(small.to_json())["partial"] is False
    assert {one.network for one in small.lanes} | set(small.left_out) == EVERY_NETWORK
    wide = compare(value_bits=64, patterns=5)
    assert set(wide.left_out) == {"sent"}
    assert {"2^64"} <= {cell for part in parts(wide) for row in part.rows for cell in row}
    assert "sent carries at most 24 bits" in wide.left_out["sent"]


def test_bit_rates_are_those_in_use(small):
    # Common practice, no source: CAN up to 1 Mbit/s, LIN about 20 kbit/s, FlexRay 10 Mbit/s, 100BASE-T1 100 Mbit/s.
    assert lane(small, "can").bit_rate <= 1e6
    assert 15e3 < lane(small, "lin").bit_rate <= 20e3
    assert lane(small, "flexray").bit_rate == 10e6
    assert lane(small, "ethernet").bit_rate == 100e6


def test_time_load_and_efficiency_follow_from_the_wire_bits(small):
    for one in small.lanes:
        carrier = CARRIERS[one.network]
        sent = fs.encode(carrier.frame(carrier.payload(0xA3C, 12)))
        behind = sum(span.stop - span.start for span in sent.spans if span.name in carrier.after)
        assert one.bits == len(sent) - behind
        if one.fast_rate is None:
            assert one.time_s == pytest.approx(one.bits / one.bit_rate)
        else:
            assert one.bits / one.fast_rate < one.time_s < one.bits / one.bit_rate
        assert one.load == pytest.approx((one.time_s + carrier.gap_bits / one.bit_rate) / 0.01)
        assert one.efficiency == pytest.approx(12 / one.bits)
        assert one.least_bits <= one.bits <= one.most_bits


@pytest.mark.parametrize("size", range(1, 9))
def test_the_most_bits_of_a_can_frame_are_those_of_davis_and_others(size):
    # Davis, Burns, Bril & Lukkien, Real-Time Systems 35 (2007), from memory: 8s + 47 + floor((34 + 8s - 1) / 4) with
    # the 3-bit intermission, which is no part of the frame here.
    carrier = CARRIERS["can"]
    sent = fs.encode(carrier.frame(bytes(size)))
    least, most = bit_bounds(carrier, bytes(size), sent)
    assert most == 8 * size + 44 + (34 + 8 * size - 1) // 4
    assert least == 8 * size + 44


def test_latency_with_one_repeat_on_can_adds_an_error_frame_and_on_lin_a_cycle(small):
    can, lin = lane(small, "can"), lane(small, "lin")
    assert can.latency_s == pytest.approx(2 * can.time_s + (12 + 8 + 3) / 500e3)
    assert lin.latency_s == pytest.approx(0.01 + lin.time_s)
    sent = lane(small, "sent")
    assert sent.latency_s == pytest.approx(2 * sent.time_s)  # message follows message


def test_only_the_data_phase_of_can_fd_is_fast(small):
    # SOF 1, identifier 11, RRS, IDE, FDF, res, BRS and one stuff bit are slow, and so is everything from the CRC
    # delimiter on (1 + 1 + 1 + 7): the rest goes at the data rate.
    fd = lane(small, "can-fd")
    sent = fs.encode(CARRIERS["can-fd"].frame(CARRIERS["can-fd"].payload(0xA3C, 12)))
    names = [span.name for span in sent.spans]
    slow = sent.spans[names.index("ESI")].start + len(sent) - sent.spans[names.index("CRC delimiter")].start
    assert fd.time_s == pytest.approx(slow / 500e3 + (len(sent) - slow) / 2e6)


@pytest.mark.parametrize("name", ["can", "can-fd", "can-xl", "sent", "lin"])
@pytest.mark.parametrize("size", [1, 2])
def test_no_frame_falls_below_or_exceeds_the_bounds(name, size):
    carrier = CARRIERS[name]
    rng = random.Random(5)
    payloads = [bytes(size), b"\xff" * size, *(rng.randbytes(size) for _ in range(300))]
    sent = [fs.encode(carrier.frame(payload)) for payload in payloads]
    bits = [carrier.frame_bits(wire) for wire in sent]
    least, most = bit_bounds(carrier, payloads[0], sent[0])
    assert least <= min(bits)
    assert max(bits) <= most
    if name in ("lin", "can-xl"):
        assert least == most


def test_every_single_flip_is_told_with_who_speaks_first(small):
    for one in small.lanes:
        carrier = CARRIERS[one.network]
        assert sum(one.first.values()) == len(fs.encode(carrier.frame(carrier.payload(0xA3C, 12))))
        assert one.first["nobody"] < sum(one.first.values()) / 3


def test_a_channel_with_memory_is_sampled(small):
    bursty = fs.GilbertElliott(good_to_bad=1e-3, bad_to_good=0.1)
    sampled = compare(value_bits=8, channel=bursty, patterns=5)
    assert sampled.disturbance["kind"] == "gilbert_elliott"
    assert all(one.residual.high > 0 for one in sampled.lanes)
    assert "the channel gilbert-elliott" in parts(sampled)[2].title


def test_distances_are_those_of_the_codes_at_this_length(small):
    # Koopman & Chakravarty, DSN 2004 (from memory): CRC-15 keeps HD 6 to 112 data bits; here it covers 19 + 16.
    assert lane(small, "can").distance == 6
    assert lane(small, "lin").distance is None


def test_a_rate_of_which_nothing_was_seen_is_an_upper_bound_in_json(small):
    for link in json.loads(small.to_json())["links"]:
        assert link["high"] > 0
        if link["probability"] is None:
            assert link["low"] == 0


def test_the_same_seed_gives_the_same_bytes(small):
    assert compare(value_bits=12, patterns=20).to_json() == small.to_json()


class _Text(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.outside = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.outside += [value for name, value in attrs if name in ("src", "href")]


def test_the_page_stands_alone_without_script_or_network(small):
    page = _Text()
    page.feed(comparison_page(small))
    assert page.tags.count("table") == 5
    assert "script" not in page.tags
    assert page.outside == []


@pytest.mark.parametrize(
    "wrong",
    [{"value_bits": 0}, {"value_bits": 65}, {"value": 4096}, {"every_s": 0.0}, {"every_s": float("nan")},
     {"patterns": 0}, {"confidence": 1.0}, {"seed": -1}],
    ids=str,
)  # fmt: skip
def test_bad_arguments_are_refused(wrong):
    with pytest.raises(BadArgument, match=next(iter(wrong))):
        compare(**wrong)
