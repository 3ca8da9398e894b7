"""One value on every network: figures that can be worked out by hand."""

import json
from html.parser import HTMLParser

import pytest

import framesim as fs
from framesim.coverage.carriers import CARRIERS
from framesim.coverage.compare import bit_bounds, compare
from framesim.errors import BadArgument
from framesim.report.compare_page import comparison_page

EVERY_NETWORK = set(fs.networks())


@pytest.fixture(scope="module")
def small():
    return compare(value_bits=12, patterns=20)


def lane(comparison, name):
    return next(one for one in comparison.lanes if one.network == name)


def test_every_network_carries_the_value_or_says_why_not(small):
    assert {one.network for one in small.lanes} | set(small.left_out) == EVERY_NETWORK
    wide = compare(value_bits=64, patterns=5)
    assert set(wide.left_out) == {"sent"}
    assert "sent carries at most 24 bits" in wide.left_out["sent"]


def test_bit_rates_are_those_in_use(small):
    # Common practice, no source: CAN up to 1 Mbit/s, LIN about 20 kbit/s, FlexRay 10 Mbit/s, 100BASE-T1 100 Mbit/s.
    assert lane(small, "can").bit_rate <= 1e6
    assert 15e3 < lane(small, "lin").bit_rate <= 20e3
    assert lane(small, "flexray").bit_rate == 10e6
    assert lane(small, "ethernet").bit_rate == 100e6


def test_time_load_and_efficiency_follow_from_the_wire_bits(small):
    for one in small.lanes:
        assert one.bits == len(fs.encode(CARRIERS[one.network].frame(CARRIERS[one.network].payload(0xA3C, 12))))
        assert one.time_s == pytest.approx(one.bits / one.bit_rate)
        assert one.load == pytest.approx(one.time_s / 0.01)
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
    assert page.tags.count("table") == 3
    assert "script" not in page.tags
    assert page.outside == []


@pytest.mark.parametrize(
    "wrong",
    [{"value_bits": 0}, {"value_bits": 65}, {"value": 4096}, {"every_s": 0.0}, {"every_s": float("nan")},
     {"bit_error_ratio": -1e-3}, {"bit_error_ratio": 0.2}, {"patterns": 0}, {"confidence": 1.0}, {"seed": -1}],
    ids=str,
)  # fmt: skip
def test_bad_arguments_are_refused(wrong):
    with pytest.raises(BadArgument, match=next(iter(wrong))):
        compare(**wrong)
