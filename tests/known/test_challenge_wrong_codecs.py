"""Classic mistakes: each is found, named so that one knows where to look, and shown on a case fit for reading."""

import time

import pytest
from wrong_codecs import WRONG, decoder_of

import framesim as fs
from framesim.challenge import challenge_decoder, challenge_encoder
from framesim.challenge.expected import expected
from framesim.challenge.symptom import symptom
from framesim.networks import network

CASES = 800


@pytest.mark.parametrize("wrong", WRONG, ids=lambda wrong: f"{wrong.network}: {wrong.mistake}")
def test_a_classic_mistake_is_found_named_and_made_simple(wrong):
    began = time.process_time()
    if wrong.decode is not None:
        report = challenge_decoder(wrong.decode, network=wrong.network, cases=CASES)
    else:
        report = challenge_encoder(wrong.encode, network=wrong.network, cases=CASES)
    assert time.process_time() - began < 10  # asked for by whoever waits for it, not by a benchmark
    telling = [f"{finding.rule}, {finding.where}" for finding in report.findings[:2]]
    assert any(wrong.told in words for words in telling), str(report)
    finding = report.findings[0]
    case = finding.case
    assert case is not None
    assert len(case.bits) <= 730, "too long to read"  # the shortest Ethernet frame has 576 bits, some with a tail
    if case.recipe is not None:
        assert len(case.recipe.flips) <= 2
        assert len(getattr(case.frame, "payload", b"")) <= 46
    answer = symptom(case, expected(case), finding.got) if isinstance(finding.got, dict) else finding.rule
    assert answer == finding.rule or finding.rule.startswith("raises")


def test_the_case_shown_is_the_simplest_that_fails_so():
    wrong = next(wrong for wrong in WRONG if wrong.told == "where dlc is 9 or more")
    finding = challenge_decoder(wrong.decode, network="can", cases=CASES).findings[0]
    assert finding.case.frame == fs.CanFrame(identifier=0, payload=bytes(8), dlc=9)
    assert finding.case.recipe.plain


def test_at_least_a_dozen_mistakes_on_six_networks_are_shipped():
    assert len(WRONG) >= 12
    assert {wrong.network.partition("-b")[0] for wrong in WRONG} >= {
        *("can", "can-fd", "lin", "flexray", "ethernet", "sent")
    }


@pytest.mark.parametrize("name", ["can", "can-fd", "can-fd-original", "lin", "flexray-b", "flexray-dynamic", "sent"])
def test_the_right_decoder_is_found_right(name):
    report = challenge_decoder(decoder_of(network(name)), network=name, cases=500)
    assert report.clean, str(report)
    assert report.asked == 500


@pytest.mark.parametrize("name", ["can", "can-fd", "can-xl", "lin", "flexray", "sent"])
def test_the_right_encoder_is_found_right(name):
    report = challenge_encoder(fs.encode, network=name, cases=300)
    assert report.clean, str(report)


def test_a_decoder_that_refuses_everything_is_told_so_first():
    report = challenge_decoder(lambda bits: None, network="can", cases=400)
    assert report.findings[0].rule == "comes to no verdict on a right frame" or report.findings[0].rule.startswith(
        "refuses a right frame"
    )


def test_a_function_that_raises_is_a_finding_and_not_our_crash():
    def decode(bits):
        raise ZeroDivisionError(f"{len(bits)} bits")

    report = challenge_decoder(decode, network="can", cases=300)
    assert report.findings[0].rule == "raises ZeroDivisionError"
    assert "bits" in report.findings[0].got


@pytest.mark.slow
def test_the_right_decoder_passes_a_hundred_thousand_cases():
    report = challenge_decoder(decoder_of(network("can")), network="can", cases=100_000)
    assert report.clean, str(report)
    assert report.asked == 100_000
