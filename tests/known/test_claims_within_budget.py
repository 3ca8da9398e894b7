"""What a budget leaves open, what is decided in spite of it, and over which payloads a finding speaks."""

import re
import time

import pytest
from bitarray import bitarray

import framesim as fs
from framesim.claims.checking import decide_all
from framesim.claims.finding import Finding, Verdict
from framesim.claims.payloads import some_payloads
from framesim.claims.reading import claims_from_text
from framesim.claims.subject import FrameSubject
from framesim.codes import crc, crc_from_polynomial
from framesim.codes.fewest import fewest_flips


def found(text: str, budget_s: float = 1.0) -> Finding:
    claims = claims_from_text(f'title = "t"\nbudget_s = {budget_s}\n[[claim]]\nid = "one"\n{text}', file="f")
    return decide_all(claims).findings[0]


def lightest(generator: int, data_bits: int) -> int:
    """Return the fewest ones in any multiple of the generator, each formed."""
    words = [0]
    for shift in range(data_bits):
        words += [word ^ generator << shift for word in words]
    return min(word.bit_count() for word in words if word)


@pytest.mark.parametrize(
    ("polynomial", "width", "data_bits"),
    [(0x07, 8, 9), (0x07, 8, 130), (0x4599, 15, 12), (0x4599, 15, 19), (0x3, 4, 11), (0x3, 4, 12), (0x1, 1, 3)],
)
def test_the_fewest_flips_are_those_of_the_lightest_multiple_of_the_generator(polynomial, width, data_bits):
    code = crc_from_polynomial(polynomial, width)
    light = lightest(code.generator, data_bits) if data_bits < 20 else 2  # x^127 + 1 is a multiple of 0x107
    for up_to in (light - 1, light, light + 2):
        answer = fewest_flips(code, data_bits, up_to, budget_s=10)
        assert answer.flips == (light if up_to >= light else None)
        assert answer.reached >= min(up_to, light)
        if up_to >= light:
            word = bitarray(data_bits)
            word.setall(0)
            word += code.sequence(word)
            for place in answer.pattern:
                word.invert(place)
            assert len(answer.pattern) == light
            assert code.accepts(word)


def test_by_all_weights_or_by_look_up_the_fewest_flips_are_the_same():
    for name, data_bits in (("CRC-15/CAN", 83), ("CRC-17/CAN-FD", 40), ("CRC-11/FLEXRAY", 30)):
        code = crc(name)
        assert fewest_flips(code, data_bits, 20, budget_s=10).flips == code.hamming_distance(data_bits)


@pytest.mark.parametrize(
    ("data_bits", "distance", "verdict", "words"),
    [
        (2000, 6, Verdict.PROVEN, "the distance is at least 6"),  # not one look-up more than the claim needs
        (1000, 10, Verdict.OPEN, "no pattern of up to 5 flips passes"),
    ],
)
def test_a_wide_code_is_examined_as_far_as_the_budget_goes(data_bits, distance, verdict, words):
    began = time.process_time()
    finding = found(
        f'code = {{ name = "CRC-64", data_bits = {data_bits} }}\n'
        f'asserts = {{ kind = "distance-at-least", distance = {distance} }}',
        3.0,
    )
    assert time.process_time() - began < 20  # it took minutes; the claim is about seconds
    assert finding.verdict is verdict
    assert words in finding.statement
    assert ("years of one processor" in finding.needs) == (verdict is Verdict.OPEN)


def test_all_weights_of_a_wide_code_stay_open_and_the_time_is_told():
    finding = found('code = { name = "CRC-64", data_bits = 36 }\nasserts = { kind = "bounded-by-width" }')
    assert finding.verdict is Verdict.OPEN
    assert re.search(r"about \d+ seconds of one processor .*budget_s is 1", finding.needs)


def test_payloads_are_all_of_them_or_drawn_one_by_one_and_never_the_first_of_a_row():
    subject = FrameSubject(network="can-fd", frames=(fs.CanFdFrame(identifier=5, payload=b"\0"),), payload="random")
    payloads, complete = some_payloads(subject, 1, "x", 256)
    assert (payloads, complete) == ([bytes([each]) for each in range(256)], True)
    payloads, complete = some_payloads(subject, 1, "x", 255)
    assert not complete
    assert len(payloads) == 255
    # 255 of 256, drawn with repetition: 256 (1 - e^-1) = 162 different ones, standard deviation 4.8; seed 1.
    assert 140 < len(set(payloads)) < 185
    two = FrameSubject(network="can-fd", frames=(fs.CanFdFrame(identifier=5, payload=b"\0\0"),), payload="worst")
    payloads, complete = some_payloads(two, 1, "x", 70_000)
    assert complete
    assert len(set(payloads)) == len(payloads) == 65_536
    assert some_payloads(two, 1, "x", 3)[0] == [b"\0\0", b"\xff\xff", b"\x55\x55"]


def test_a_share_over_some_payloads_of_one_byte_says_that_they_were_drawn():
    frame = 'frame = { network = "can-fd", identifier = 5, payload = { random = 1 } }\n'
    finding = found(f'{frame}asserts = {{ kind = "detects-flips", up_to = 1 }}', 0.2)
    assert finding.verdict is Verdict.BOUNDED
    assert "drawn (seed 1)" in finding.method
    assert finding.figure.low < finding.figure.high == 1


def test_a_single_flip_is_tried_even_where_counting_is_too_dear():
    frame = 'frame = { network = "sent", status = 1, nibbles = [1, 2, 3] }\n'
    finding = found(f'{frame}asserts = {{ kind = "detects-flips", up_to = 2 }}')
    assert finding.verdict is Verdict.REFUTED
    assert len(finding.counterexample.flips) == 1
    judged = fs.judge(fs.encode(finding.counterexample.sent), fs.encode(finding.counterexample.sent).flipped([55]))
    assert judged.outcome is fs.Outcome.UNDETECTED


@pytest.mark.parametrize(
    ("frame", "needs"),
    [
        (
            'network = "can-fd", identifier = 5, payload = { worst = 2 }',
            r"all 256\^2 payloads: about .* (minutes|hours)",
        ),
        ('network = "can-xl", identifier = 5, payload = { worst = 1 }', r"all 256\^1 payloads: about .* hours"),
    ],
)
def test_what_all_payloads_would_take_is_told_by_the_costs_of_their_own_network(frame, needs):
    finding = found(f'frame = {{ {frame} }}\nasserts = {{ kind = "detects-flips", up_to = 2 }}', 0.3)
    assert finding.verdict is Verdict.OPEN
    assert re.search(needs, finding.needs), finding.needs


def test_a_mean_over_a_list_is_not_shown_by_the_figure_of_its_first_frame():
    head = 'frame = { network = "lin", identifier = 5, payload = { list = ["01", "02"] } }\n'
    scatter = 'disturbance = { kind = "scatter", bit_error_ratio = 1e-3 }\n'
    finding = found(f'{head}{scatter}asserts = {{ kind = "residual-at-most", probability = 1e-30 }}', 5.0)
    assert finding.verdict is Verdict.REFUTED
    assert finding.counterexample.replay == ("framesim claims claims.toml",)
    head = 'frame = { network = "can", identifier = 5, payload = { list = ["", "00"] } }\n'
    finding = found(f'{head}{scatter}asserts = {{ kind = "first-to-speak", check = "crc", at_least = 0.99 }}', 5.0)
    assert finding.verdict is Verdict.REFUTED
    assert finding.counterexample.replay == ("framesim claims claims.toml",)


def test_by_load_frames_of_any_payload_are_counted_without_the_stuff_bits_that_it_may_lack():
    finding = found(
        'frame = { network = "can", identifier = 0x555, payload = { random = 8 } }\n'
        'disturbance = { kind = "ignition", severity = "fault" }\n'
        'asserts = { kind = "per-hour-at-most", rate = 1e9, bit_rate = 500_000, load = 0.5 }'
    )
    # CAN 2.0 B 3.1.1: 1 + 11 + 1 + 6 + 64 + 16 + 2 + 7 bits of a data frame, and three between frames; no run of five
    # in this identifier, and the control field 001000 has none.
    assert " frames of 111 bits a second" in finding.over


def test_what_one_frame_of_a_list_leaves_undecided_is_undecided():
    from framesim.claims.flips import from_looks
    from framesim.claims.looking import Look

    whole, part = Look(reached=2, method="m"), Look(reached=1, method="m", needs_s=7.0)
    for looks in ([whole, part], [part, whole]):
        finding = from_looks(looks, 2, "two frames", 2)
        assert finding.verdict is Verdict.OPEN
        assert "up to 1 flip passes" in finding.statement
    assert from_looks([whole, whole], 2, "two frames", 2).verdict is Verdict.PROVEN


def test_bursts_of_the_longer_frame_of_a_list_stay_open_where_the_budget_ends():
    def listed(*payloads):
        listing = ", ".join(f'"{payload}"' for payload in payloads)
        head = f'frame = {{ network = "can-fd", identifier = 5, payload = {{ list = [{listing}] }} }}\n'
        return found(f'{head}asserts = {{ kind = "detects-bursts", up_to = 2 }}', 0.3)

    assert listed("", "").verdict is Verdict.PROVEN
    for payloads in (("", "00" * 16), ("00" * 16, "")):
        finding = listed(*payloads)
        assert finding.verdict is Verdict.OPEN
        assert "seconds of one processor" in finding.needs
