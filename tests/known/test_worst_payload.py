"""The search for a payload that lets most patterns pass: what it finds is as bad as it says."""

import pytest

import framesim as fs
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.patterns import undetected_patterns
from framesim.coverage.exact.worst import worst_payload

FRAME = fs.CanFrame(identifier=0x482, payload=bytes(8))


@pytest.fixture(scope="module")
def found():
    return worst_payload(FRAME, tries=20_000, seed=1)


def test_the_payload_found_has_the_pairs_it_is_said_to_have(found):
    sent = fs.encode(found.frame)
    pairs = undetected_patterns(line_of(sent), 2)
    assert len(pairs) == found.patterns[2]
    assert all(fs.judge(sent, sent.flipped(pair.flips)).outcome is fs.Outcome.UNDETECTED for pair in pairs)
    # Three frames in a thousand have a pair at all; a search must do better than one that draws.
    assert found.patterns[2] >= 2


def test_the_search_repeats_and_keeps_all_but_the_payload(found):
    again = worst_payload(FRAME, tries=20_000, seed=1)
    assert again == found
    assert found.frame.identifier == FRAME.identifier
    assert found.payload == found.frame.payload
    assert found.tried >= 20_000


@pytest.mark.parametrize("arguments", [{"flips": 3}, {"tries": 10}, {"tries": True}])
def test_numbers_out_of_range_are_refused(arguments):
    with pytest.raises(fs.BadArgument):
        worst_payload(FRAME, **arguments)


def test_a_frame_without_payload_has_nothing_to_vary():
    with pytest.raises(fs.BadArgument, match="no payload to vary"):
        worst_payload(fs.CanFrame(identifier=1, payload=b""))


def test_single_flips_and_the_senders_end_are_counted_as_asked():
    # One frame in a quarter of a million has a single flip that passes; own figure. Seed 1 meets one in 500,000.
    single = worst_payload(FRAME, flips=1, tries=500_000, seed=1)
    assert single.patterns[1] == 1
    kept = worst_payload(FRAME, same_end=True, tries=5000, seed=1)
    line = line_of(fs.encode(kept.frame))
    assert kept.patterns[2] == sum(pair.end == line.accept_at for pair in undetected_patterns(line, 2)) >= 1
