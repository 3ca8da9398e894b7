"""Well-known claims: each gets the verdict that the literature, or the arithmetic beside it, asks for."""

import pytest
from bitarray import bitarray

import framesim as fs
from framesim.claims.checking import decide, decide_all
from framesim.claims.counterexample import of_frame
from framesim.claims.example import EXAMPLE
from framesim.claims.finding import Finding, Meets, Verdict, of_limit
from framesim.claims.reading import claims_from_text
from framesim.coverage.exact.survey import COSTS
from framesim.coverage.intervals import clopper_pearson

PAGE = claims_from_text(EXAMPLE, file="built-in")
CLAIMS = {claim.name: claim for claim in PAGE.claims}

# Why each verdict is due stands beside it.
DUE = {
    # Own search; tests/known/test_popular_claims.py has the same pairs by another road.
    "can-five-flips": ("refuted", 2),
    # Koopman & Chakravarty, DSN 2004: HD 6 up to 112 data bits.
    "can-crc-distance": ("proven", None),
    # docs/residual-method.md: wire bit 59 of this frame.
    "can-single-flip": ("refuted", 1),
    "can-single-flip-in-time": ("proven", None),
    # docs/residual-method.md: 2.7e-6 to 6.3e-6 of the frames have one.
    "can-single-flip-rare": ("bounded", None),
    # tests/known/test_popular_claims.py: seven flips within ten bits.
    "can-bursts": ("refuted", 7),
    # Peterson & Brown 1961 (from memory): no burst up to the degree is a multiple of the generator.
    "can-crc-bursts": ("proven", None),
    # tests/known/test_popular_claims.py: eleven times 2^-16.
    "two-to-minus-r": ("refuted", None),
    # FlexRay Protocol Specification 3.0.1, 4.5.2: the header CRC has Hamming distance 6 (seen second-hand).
    "flexray-header-crc": ("proven", None),
    # FlexRay Protocol Specification 3.0.1: Hamming distance 6 up to 248 payload bytes (seen second-hand).
    "flexray-five-flips": ("proven", None),
    # A single flip changes the sum by a power of two, never by a multiple of 255; framing has its start and stop bits.
    "lin-single-flip": ("proven", None),
    # Opposite flips of one bit in two bytes leave a sum as it was.
    "lin-double-flip": ("refuted", 2),
    # docs/networks/can-fd.md: the register preset to 0 does not notice a lost leading zero.
    "fd-2012-single-flip": ("refuted", 1),
    "fd-iso-same-frame": ("proven", None),
    # tests/differential/test_can_fd_patterns_against_receiver.py: FDF and one bit more.
    "fd-iso-double-flip": ("refuted", 2),
    "fd-five-flips": ("open", None),
    # Six flips at least in this frame: some 1e-33 a frame, far below the claim.
    "can-per-hour": ("proven", None),
    "can-crc-speaks-first": ("proven", None),
    # Five minutes of engine time can show no rate as low as one an hour.
    "sweeper-per-hour": ("bounded", None),
}


def found(text: str) -> Finding:
    claims = claims_from_text(f'title = "t"\nbudget_s = 1.0\n[[claim]]\nid = "one"\n{text}', file="f")
    return decide_all(claims).findings[0]


SAMPLED = {name for name, (verdict, _) in DUE.items() if verdict == "bounded"}  # an end-to-end test runs them


def test_every_built_in_claim_has_a_verdict_that_is_due():
    assert set(DUE) == set(CLAIMS)


@pytest.mark.parametrize("name", sorted(set(DUE) - SAMPLED))
def test_the_built_in_claim_gets_the_verdict_that_is_due(name):
    verdict, flips = DUE[name]
    finding = decide(CLAIMS[name], PAGE)
    assert finding.verdict == verdict
    assert finding.over
    assert finding.method
    if verdict == "open":
        assert "hours of one processor" in finding.needs
    if flips is not None:
        example = finding.counterexample
        assert len(example.flips) == flips
        judged = fs.judge(fs.encode(example.sent), fs.encode(example.sent).flipped(example.flips))
        assert judged.outcome is fs.Outcome.UNDETECTED
        assert judged.reception.frame == example.accepted


def test_the_figure_for_two_to_minus_r_is_eleven_times_the_bound():
    finding = decide(CLAIMS["two-to-minus-r"], PAGE)
    assert finding.figure.best == pytest.approx(11.1 * 2.0**-16, rel=0.01)
    assert finding.figure.limit == 2.0**-16
    # The figure is that of the code itself, computed again at the ratio stated.
    ratio = finding.counterexample.more["bit_error_ratio"]
    again = CLAIMS["two-to-minus-r"].subject.code.undetected_probability(8, ratio)
    assert again == pytest.approx(finding.figure.best, rel=1e-9)


@pytest.mark.parametrize(("distance", "verdict"), [(6, "proven"), (7, "refuted")])
def test_a_distance_is_proven_up_to_what_it_is(distance, verdict):
    code = 'code = { name = "CRC-15/CAN", data_bits = 83 }\n'
    finding = found(f'{code}asserts = {{ kind = "distance-at-least", distance = {distance} }}')
    assert finding.verdict == verdict
    assert (finding.counterexample is not None) == (verdict == "refuted")


@pytest.mark.parametrize(("up_to", "verdict"), [(15, "proven"), (16, "refuted")])
def test_a_burst_passes_a_code_from_one_bit_more_than_its_width(up_to, verdict):
    code = 'code = { name = "CRC-15/CAN", data_bits = 83 }\n'
    finding = found(f'{code}asserts = {{ kind = "detects-bursts", up_to = {up_to} }}')
    assert finding.verdict == verdict
    if verdict == "refuted":
        flips = finding.counterexample.flips
        assert flips[-1] - flips[0] + 1 == 16
        code = fs.codes.crc("CRC-15/CAN")
        word = bitarray(83)
        word.setall(0)
        word += code.sequence(word)
        for place in flips:
            word.invert(place)
        assert code.accepts(word)


def test_six_flips_on_flexray_are_refuted_by_a_word_of_its_crc():
    finding = found(
        'frame = { network = "flexray", frame_id = 12, payload = { worst = 16 } }\n'
        'asserts = { kind = "detects-flips", up_to = 6 }\n'
    )
    assert finding.verdict is Verdict.REFUTED  # one second is not enough to count them, but to try words
    assert len(finding.counterexample.flips) == 6
    claims = claims_from_text(
        'title = "t"\n[[claim]]\nid = "one"\n'
        'frame = { network = "flexray", frame_id = 12, payload = { worst = 16 } }\n'
        'asserts = { kind = "detects-flips", up_to = 6 }\n',
        file="f",
    )
    finding = decide_all(claims).findings[0]
    assert finding.verdict is Verdict.REFUTED
    assert len(finding.counterexample.flips) == 6


def test_all_payloads_of_one_byte_are_all_there_are():
    frame = 'frame = { network = "can", identifier = 5, payload = { random = 1 } }\n'
    proven = found(f'{frame}asserts = {{ kind = "detects-flips", up_to = 2 }}')
    assert (proven.verdict, proven.over) == (Verdict.PROVEN, "all 256 payloads of 1 byte")
    refuted = found(f'{frame}asserts = {{ kind = "detects-flips", up_to = 3 }}')
    assert refuted.verdict is Verdict.REFUTED
    assert len(refuted.counterexample.flips) == 3


def test_a_search_for_the_worst_payload_refutes_but_never_proves():
    head = 'frame = { network = "can", identifier = 0x482, payload = { worst = 4 } }\n'
    finding = found(f'{head}asserts = {{ kind = "detects-flips", up_to = 1 }}')
    assert finding.verdict is Verdict.OPEN
    assert "256^4" in finding.needs
    head = 'frame = { network = "can", identifier = 5, payload = { worst = 8 } }\n'
    finding = found(f'{head}asserts = {{ kind = "detects-flips", up_to = 2 }}')
    assert finding.verdict is Verdict.REFUTED
    assert "the worst found of" in finding.over


def test_a_share_of_random_frames_is_bounded_not_proven():
    head = 'frame = { network = "can", identifier = 5, payload = { random = 8 } }\n'
    for share, meets in ((0.999, "yes"), (0.99999999, "undecided")):
        finding = found(f'{head}asserts = {{ kind = "detects-flips", up_to = 1, share_of_frames = {share} }}')
        assert (finding.verdict, finding.meets) == (Verdict.BOUNDED, meets)
        assert 0 < 1 - finding.figure.low < 1e-3
        assert finding.figure.confidence == 0.95


@pytest.mark.parametrize(
    ("limit", "verdict", "meets"), [("1e-15", "proven", "yes"), ("1e-30", "refuted", "no")], ids=("above", "below")
)
def test_an_exact_residual_is_proven_or_refuted(limit, verdict, meets):
    finding = found(
        'frame = { network = "can", identifier = 5, payload = "0102" }\n'
        'disturbance = { kind = "scatter", bit_error_ratio = 1e-4 }\n'
        f'asserts = {{ kind = "residual-at-most", probability = {limit} }}'
    )
    assert (finding.verdict, finding.meets) == (verdict, meets)
    due = fs.residual(fs.CanFrame(identifier=5, payload=b"\1\2"), fs.Scatter(bit_error_ratio=1e-4))
    assert finding.figure.best == due.probability
    if verdict == "refuted":
        assert any(command.startswith("framesim residual can") for command in finding.counterexample.replay)


def test_a_rate_per_hour_follows_from_load_and_bits():
    # 100 % of 1 Mbit/s in frames of 45 bits and 3 between: 1e6 / 48 frames a second.
    frame = fs.CanFrame(identifier=0x2AA)
    bits = len(fs.encode(frame)) + 3
    finding = found(
        'frame = { network = "can", identifier = 0x2AA, payload = "" }\n'
        'disturbance = { kind = "scatter", bit_error_ratio = 1e-3 }\n'
        'asserts = { kind = "per-hour-at-most", rate = 1e-3, bit_rate = 1e6, load = 1.0 }'
    )
    probability = fs.residual(frame, fs.Scatter(bit_error_ratio=1e-3)).probability
    assert finding.figure.best == pytest.approx(probability * 1e6 / bits * 3600, rel=1e-12)


def test_a_limit_that_holds_for_certain_is_bounded_with_confidence_one():
    finding = found(
        'frame = { network = "can", identifier = 5, payload = "01" }\nseen = { reach = "common" }\n'
        'disturbance = { kind = "scatter", bit_error_ratio = 1e-5 }\n'
        'asserts = { kind = "residual-at-most", probability = 1e-8 }'
    )
    assert (finding.verdict, finding.meets, finding.figure.confidence) == (Verdict.BOUNDED, "yes", 1.0)


@pytest.mark.parametrize(
    ("low", "high", "limit", "at_least", "due"),
    [
        (0.1, 0.2, 0.2, False, Meets.YES),
        (0.1, 0.2, 0.15, False, Meets.UNDECIDED),
        (0.1, 0.2, 0.05, False, Meets.NO),
        (0.1, 0.2, 0.1, True, Meets.YES),
        (0.1, 0.2, 0.15, True, Meets.UNDECIDED),
        (0.1, 0.2, 0.25, True, Meets.NO),
    ],
)
def test_a_limit_is_met_only_if_the_whole_interval_lies_within(low, high, limit, at_least, due):
    assert of_limit(low, high, limit, at_least=at_least) is due


def test_random_payloads_without_a_finding_are_no_proof():
    head = 'frame = { network = "can", identifier = 5, payload = { random = 8 } }\n'
    text = (
        f'title = "t"\nbudget_s = 0.05\n[[claim]]\nid = "one"\n{head}asserts = {{ kind = "detects-flips", up_to = 1 }}'
    )
    finding = decide_all(claims_from_text(text, file="f")).findings[0]
    assert finding.counts == {1: 0}
    assert (finding.verdict, finding.meets, finding.figure.limit) == (Verdict.BOUNDED, Meets.UNDECIDED, 1.0)


def test_the_doubt_of_a_share_is_that_of_all_numbers_of_flips_together():
    head = 'frame = { network = "can", identifier = 5, payload = { random = 8 } }\n'
    finding = found(f'{head}asserts = {{ kind = "detects-flips", up_to = 2, share_of_frames = 0.9 }}')
    # By the fixed costs half a second each buys so many frames; each limit is held with 97.5 %, so both with 95 %.
    frames = {flips: int(0.5 / COSTS[flips]) for flips in (1, 2)}
    assert f"{frames[1]:,} payloads" in finding.over
    limits = [clopper_pearson(finding.counts[flips], frames[flips], confidence=0.975) for flips in (1, 2)]
    assert finding.figure.low == pytest.approx(1 - sum(limit.high for limit in limits), rel=1e-12)
    assert finding.figure.high == pytest.approx(1 - max(limit.low for limit in limits), rel=1e-12)
    assert finding.counts[2] > 0


def test_the_worst_payload_found_settles_no_limit_but_breaks_one():
    noise = 'disturbance = { kind = "scatter", bit_error_ratio = 1e-4 }\n'
    head = f'frame = {{ network = "can", identifier = 5, payload = {{ worst = 8 }} }}\n{noise}'
    finding = found(f'{head}asserts = {{ kind = "residual-at-most", probability = 0.1 }}')
    assert (finding.verdict, finding.meets) == (Verdict.OPEN, Meets.UNDECIDED)
    finding = found(f'{head}asserts = {{ kind = "residual-at-most", probability = 1e-20 }}')
    assert finding.verdict is Verdict.REFUTED
    judged = fs.judge(fs.encode(finding.counterexample.sent), bitarray(finding.counterexample.wire))
    assert judged.outcome is fs.Outcome.UNDETECTED


def test_what_only_a_listener_without_the_description_accepts_is_no_counterexample():
    # The classic checksum in place of the enhanced one: nodes of the cluster know it to be wrong, a listener does not.
    enhanced, classic = (
        fs.encode(fs.LinFrame(identifier=0x11, payload=b"\x12\x34", checksum=kind)) for kind in ("enhanced", "classic")
    )
    flips = tuple((enhanced.bits ^ classic.bits).search(1))
    assert fs.receive(enhanced.flipped(flips) + bitarray([1]) * 200, "lin").accepted
    assert fs.judge(enhanced, enhanced.flipped(flips)).outcome is fs.Outcome.DETECTED
    assert of_frame(enhanced, flips) is None
