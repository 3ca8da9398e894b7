"""A budget that is short: fewer frames and wider limits, or open at once with the reason. No clock here."""

import numpy as np
import pytest

import framesim as fs
from framesim.claims.checking import decide_all
from framesim.claims.costs import expect_affordable, residual_seconds
from framesim.claims.finding import Finding, Verdict
from framesim.claims.reading import claims_from_text
from framesim.claims.sampling import sample
from framesim.coverage.exact import means
from framesim.coverage.exact.survey import ANCHOR, BEYOND, Survey

SCATTER = 'disturbance = { kind = "scatter", bit_error_ratio = 1e-6 }\n'
AT_MOST = 'asserts = { kind = "residual-at-most", probability = 1e-9 }'


def found(text: str, budget_s: float) -> Finding:
    claims = claims_from_text(f'title = "t"\nbudget_s = {budget_s}\n[[claim]]\nid = "one"\n{text}', file="f")
    return decide_all(claims).findings[0]


@pytest.fixture(scope="module")
def survey():
    return Survey(fs.Payloads(frame=fs.CanFrame(identifier=0x482, payload=bytes(8))), ratios=[1e-6])


@pytest.mark.parametrize("budget_s", [1.8, 2.0, 3.0, 6.0, 12.0, 15.2, 1000.0])
def test_a_mean_begins_with_as_many_frames_as_the_budget_allows(survey, budget_s):
    wanted = means._begin(survey, [1e-6], budget_s)
    assert set(wanted) == set(means.FIRST)
    for flips, frames in wanted.items():
        assert means.FEWEST[flips] <= frames <= means.FIRST[flips]
    assert means._seconds(survey, wanted) <= budget_s
    assert (wanted == means.FIRST) == (budget_s >= 15.2)
    if budget_s < 15.2:  # what is left would not do for one more sum of all flips
        assert means._seconds(survey, wanted) > budget_s - means.COSTS[BEYOND] - 0.1


def test_where_a_budget_does_not_pay_for_counts_frames_are_sent_or_it_is_open_at_once_and_says_what_it_takes(survey):
    assert means._seconds(survey, means.FEWEST) == pytest.approx(1.75, abs=0.01)  # as the figures beside COSTS add up
    head = 'frame = { network = "can", identifier = 5, payload = { random = 8 } }\n'
    finding = found(f"{head}{SCATTER}{AT_MOST}", 0.1)
    assert finding.verdict is Verdict.BOUNDED
    assert finding.method.startswith("sampled: ")
    finding = found(f"{head}seen = {{ receivers = 2 }}\n{SCATTER}{AT_MOST}", 1.7)
    assert finding.verdict is Verdict.OPEN
    assert finding.needs == "budget_s=1.7: the mean over random payloads takes at least 1.8 s of processor time"


def test_where_sums_of_all_flips_are_a_sample_there_are_five_of_them_at_least(survey):
    with pytest.raises(fs.NotFeasible, match=r"takes at least 3.5 s"):
        means._begin(survey, [ANCHOR], 2.0)
    assert means._begin(survey, [ANCHOR], 3.6)[BEYOND] == 5  # over_frames.FEWEST_ALIKE


def test_a_short_budget_states_its_method_and_count_and_its_limits_are_wider():
    head = f'frame = {{ network = "can", identifier = 5, payload = {{ random = 8 }} }}\n{SCATTER}{AT_MOST}'
    short = found(head, 1.8)
    assert short.verdict is Verdict.BOUNDED
    assert short.figure.low < short.figure.high
    assert "frames drawn (seed 1)" in short.over
    assert short.method.startswith("stratified: exact counts for each frame, the frame as sampling unit")
    # Single flips carry the limit: none seen in n frames, 3.69 / n (Garwood), twice the size of one pattern, 1e-6.
    frames = int(short.over.split("; ")[1].split()[0].replace(",", ""))
    assert short.figure.high == pytest.approx(2 * 3.69 / frames * 1e-6, rel=0.05)
    assert frames < means.FIRST[1] / 10


@pytest.mark.parametrize("network", ["lin", "can-fd"])
def test_a_list_too_long_for_sums_is_sampled_and_says_so(network):
    listed = ", ".join(f'"{number:04x}"' for number in range(300))
    head = f'frame = {{ network = "{network}", identifier = 5, payload = {{ list = [{listed}] }} }}\n'
    scatter = 'disturbance = { kind = "scatter", bit_error_ratio = 1e-3 }\n'
    finding = found(f"{head}{scatter}{AT_MOST}", 1.0)
    assert finding.verdict is Verdict.BOUNDED
    assert finding.method.startswith("sampled: ")
    assert "disturbed and judged (seed 1)" in finding.method
    finding = found(f"{head}seen = {{ receivers = 2 }}\n{scatter}{AT_MOST}", 1.0)
    assert finding.verdict is Verdict.OPEN
    assert finding.needs.startswith("the residual of 300 frames takes about")
    assert finding.needs.endswith("of one processor; budget_s is 1")


def test_what_a_residual_takes_grows_with_the_states_of_the_channel_and_of_lin_with_its_length():
    scatter, states = fs.Scatter(bit_error_ratio=1e-3), fs.GilbertElliott(good_to_bad=1e-4, bad_to_good=0.1)
    short, long = (fs.LinFrame(identifier=5, payload=bytes(size)) for size in (1, 8))
    assert residual_seconds(long, scatter) == pytest.approx(1e-4 * 124**2)
    assert residual_seconds(short, scatter) == pytest.approx(1e-4 * 54**2)
    assert residual_seconds(long, states) == pytest.approx(6 * residual_seconds(long, scatter))
    old = fs.CanFdFrame(identifier=5, payload=b"\x01", iso=False)
    assert residual_seconds(old, scatter) == residual_seconds(fs.CanFdFrame(identifier=5, payload=b"\x01"), scatter)
    assert residual_seconds(old, scatter) < 1
    later = fs.FlexRayFrame(frame_id=5, payload=b"\x01\x02", channel="B", dynamic=True)
    assert 1 <= residual_seconds(later, scatter) < 4
    expect_affordable([short, long], scatter, 3.1)
    with pytest.raises(fs.NotFeasible, match=r"the residual of 2 frames takes about 3.1 seconds .*; budget_s is 3$"):
        expect_affordable([short, long], scatter, 3.0)


def test_sampling_flips_all_bits_of_the_longest_frame_of_a_list_wherever_it_stands():
    listed = ", ".join(['""'] * 20 + ['"FFFFFFFFFFFFFFFF"'] * 20)
    text = f'frame = {{ network = "can", identifier = 5, payload = {{ list = [{listed}] }} }}\n{SCATTER}{AT_MOST}'
    claim = claims_from_text(f'title = "t"\n[[claim]]\nid = "one"\n{text}', file="f").claims[0]
    channel = fs.Scatter(bit_error_ratio=0.02)
    tally = sample("one", claim.subject, channel, claim.asserts, seed=1, budget_s=2.0).tally
    bits = np.mean([len(fs.encode(frame)) for frame in claim.subject.frames])
    # Flips of a frame: 0.02 a bit. Four standard errors of a Poisson count; seed 1.
    assert tally.flips == pytest.approx(0.02 * bits * tally.frames, abs=4 * np.sqrt(0.02 * bits * tally.frames))


def test_more_frames_than_can_be_put_on_a_wire_are_not_sampled():
    listed = ", ".join(f'"{number:04x}"' for number in range(2000))
    head = f'frame = {{ network = "can-xl", identifier = 5, payload = {{ list = [{listed}] }} }}\n'
    finding = found(f"{head}{SCATTER}{AT_MOST}", 0.2)
    assert finding.verdict is Verdict.OPEN
    assert finding.needs == "sampling: 2000 frames are more than can be put on a wire within budget_s=0.2"


def test_limits_that_rest_on_frames_drawn_and_settle_nothing_say_what_would():
    head = 'frame = { network = "can", identifier = 5, payload = { random = 8 } }\n'
    more = "narrower limits, from more frames: a larger budget_s than 0.1"
    for asserts, needs in (
        ('kind = "detects-flips", up_to = 1, share_of_frames = 0.99999999', more),
        ('kind = "detects-flips", up_to = 1, share_of_frames = 0.9', ""),
    ):
        assert found(f"{head}asserts = {{ {asserts} }}", 0.1).needs == needs
    for asserts, needs in (
        ('kind = "residual-at-most", probability = 1e-9', more),
        ('kind = "residual-at-most", probability = 0.9', ""),
        ('kind = "first-to-speak", check = "crc", at_least = 0.55', more),
        ('kind = "first-to-speak", check = "crc", at_least = 0.99', ""),
    ):
        finding = found(f"{head}{SCATTER}asserts = {{ {asserts} }}", 0.1)
        assert finding.verdict is Verdict.BOUNDED
        assert (finding.needs, finding.meets == "undecided") == (needs, bool(needs)), asserts


def test_the_search_for_the_worst_payload_goes_on_to_pairs_where_more_flips_pass_anyway():
    head = 'frame = { network = "can", identifier = 0x1A4, payload = { worst = 8 } }\n'
    finding = found(f'{head}asserts = {{ kind = "detects-flips", up_to = 4 }}', 0.6)
    assert finding.verdict is Verdict.REFUTED
    assert len(finding.counterexample.flips) == 2
    assert finding.counterexample.sent.payload.hex() in finding.statement


def test_bursts_and_flips_of_a_list_too_long_for_the_budget_are_open_at_once():
    listed = ", ".join(f'"{number:04x}"' for number in range(400))
    head = f'frame = {{ network = "can", identifier = 5, payload = {{ list = [{listed}] }} }}\n'
    for asserts in ('kind = "detects-flips", up_to = 2', 'kind = "detects-bursts", up_to = 8'):
        finding = found(f"{head}asserts = {{ {asserts} }}", 0.4)
        assert finding.verdict is Verdict.OPEN
        assert "of one processor" in finding.needs
