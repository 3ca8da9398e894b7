"""How a failing case is made simpler, which failures count as new, and which cases a stream holds."""

from itertools import islice

import framesim as fs
from framesim.challenge import cases
from framesim.challenge.boundary import boundary_frames
from framesim.challenge.case import Recipe, decode_case, wire_case
from framesim.challenge.endpoint import CallableEndpoint
from framesim.challenge.expected import expected
from framesim.challenge.explain import common_ground
from framesim.challenge.ledger import Kind, Ledger
from framesim.challenge.run import _acquit, _Hunt
from framesim.challenge.shrink import _moved, _simpler

LONG = fs.CanFrame(identifier=0x123, payload=bytes(range(1, 9)))
SHORT = fs.CanFrame(identifier=0x123, payload=b"\x01\x02")


def span_of(sent, name):
    return next(span for span in sent.spans if span.name == name)


def test_flips_stay_at_the_same_end_of_their_field_when_the_frame_changes():
    long, short = fs.encode(LONG), fs.encode(SHORT)
    for name in ("identifier", "data", "CRC", "EOF"):
        before, after = span_of(long, name), span_of(short, name)
        for offset in (0, 1):
            assert _moved((before.start + offset,), long, short) == (after.start + offset,)
            assert _moved((before.stop - 1 - offset,), long, short) == (after.stop - 1 - offset,)
    data, crc = span_of(long, "data"), span_of(long, "CRC")
    ends = _moved((data.start, crc.stop - 1), long, short)
    assert ends == (span_of(short, "data").start, span_of(short, "CRC").stop - 1)
    assert _moved((data.start + 25,), long, short) is None  # the shorter field has no such place from its start
    none = fs.encode(fs.CanFrame(identifier=0x123))
    assert _moved((data.start,), long, none) is None
    assert _moved((), long, none) == ()


def test_a_frame_that_follows_itself_is_followed_by_itself_when_it_is_made_simpler():
    bits = fs.encode(LONG).bits.to01()
    simpler = [each for each in _simpler(decode_case("can", Recipe(frame=LONG, tail=bits))) if each.frame != LONG]
    assert simpler
    for each in simpler:
        assert each.bits == 2 * fs.encode(each.frame).bits.to01()
    kept = [each for each in _simpler(decode_case("can", Recipe(frame=LONG, tail="0101"))) if each.frame != LONG]
    assert all(each.recipe.tail == "0101" for each in kept)


def test_a_wire_made_by_hand_gets_shorter_and_loses_the_rest_before_it():
    wires = {each.bits for each in _simpler(wire_case("can", f"111{fs.encode(SHORT).bits.to01()}"))}
    assert fs.encode(SHORT).bits.to01() in wires
    assert all(len(wire) < 3 + len(fs.encode(SHORT)) for wire in wires)


def test_a_failure_that_is_known_is_counted_and_is_nothing_new():
    endpoint = CallableEndpoint(decoder=lambda bits: {"verdict": "accepted", "identifier": 0x122, "payload": "0102"})
    ledger = Ledger()
    case = decode_case("can", Recipe(frame=SHORT))
    hunt = _Hunt(endpoint, ledger)
    assert hunt(case)
    assert hunt.rule == "reads identifier wrong"
    assert ledger.asked == 1
    assert hunt(case)  # told once, not asked again
    assert ledger.asked == 1
    ledger.kinds[hunt.rule] = Kind(count=1)
    other = _Hunt(endpoint, ledger)
    assert not other(case)
    assert (other.rule, ledger.kinds[hunt.rule].count, ledger.asked) == (None, 2, 2)
    # Once a new failure is pinned, another one does not take its place.
    assert not hunt(decode_case("can", Recipe(frame=SHORT, keep=20)))
    assert hunt.rule == "reads identifier wrong"


def test_the_stream_of_classic_can_holds_pairs_of_flips_that_no_check_sees():
    pairs = [each for each in islice(cases("can"), 4000) if each.origin == "a pair of flips that no check sees"]
    assert len(pairs) >= 2
    for each in pairs:
        seen = fs.wire.parse_bits(each.bits)
        assert len(each.recipe.flips) == 2
        reception = fs.receive(seen, "can")
        assert reception.accepted
        assert reception.frame != each.frame


def test_the_edges_of_classic_can_hold_every_length_code_that_means_eight_bytes():
    codes = {(frame.dlc, frame.extended) for frame in boundary_frames("can") if len(frame.payload) == 8}
    assert codes == {(code, extended) for code in range(8, 16) for extended in (False, True)}


def noted(*rows):
    """Return the books after these answers: case, reply."""
    ledger = Ledger()
    for case, reply in rows:
        ledger.note(case, expected(case), reply)
    return ledger


def test_failures_on_frames_as_sent_come_first_and_show_such_a_frame():
    spoiled = decode_case("can", Recipe(frame=SHORT, lead=4))
    plain = decode_case("can", Recipe(frame=SHORT))
    cut = decode_case("can", Recipe(frame=SHORT, keep=20))
    wrong = {"verdict": "accepted", "identifier": 1, "payload": "0102"}
    ledger = noted(
        (cut, wrong), (cut, wrong), (cut, wrong), (spoiled, {**wrong, "case": 4}), (plain, {**wrong, "case": 5})
    )
    assert [rule for rule, _ in ledger.ranked()] == ["reads identifier wrong", "takes a frame where none is complete"]
    kind = ledger.kinds["reads identifier wrong"]
    assert (kind.count, kind.plain, kind.cases) == (2, True, [plain, spoiled])
    assert kind.got == wrong
    assert not ledger.kinds["takes a frame where none is complete"].plain
    assert ledger.asked == 5
    assert not ledger.right
    assert noted((plain, {"verdict": "accepted", "identifier": 0x123, "payload": "0102"})).right == [plain]


def frames(*rows):
    return [
        decode_case("can", Recipe(frame=fs.CanFrame(identifier=number, payload=bytes(size), extended=extended)))
        for number, size, extended in rows
    ]


def test_what_failing_cases_have_in_common_is_said_only_if_it_tells_them_from_all_passing_ones():
    failing = frames((1, 4, True), (2, 5, True), (3, 8, True))
    assert common_ground(failing, frames((1, 4, False), (2, 5, False), (3, 8, False))) == "where extended is set"
    both = common_ground(failing, frames((1, 4, False), (2, 5, False), (3, 8, False), (2, 1, True), (3, 3, True)))
    assert both.startswith("where ")
    assert set(both.removeprefix("where ").split(" and ")) == {"extended is set", "the length of payload is 4 or more"}
    # One passing case has all that the failing ones have; and two failing cases are too few to say anything.
    assert common_ground(failing, [*frames((1, 4, False), (2, 1, True)), *frames((2, 5, True))]) == ""
    assert common_ground(failing[:2], frames((1, 4, False), (2, 5, False), (3, 8, False))) == ""


def test_a_refusal_is_put_down_to_a_tolerated_bit_only_if_the_frame_is_taken_without_it():
    last = len(fs.encode(SHORT)) - 1
    tolerated, plain = (decode_case("can", Recipe(frame=SHORT, flips=flips)) for flips in ((last,), ()))
    right = {"verdict": "accepted", "identifier": 0x123, "payload": "0102"}
    refused = {"verdict": "refused"}
    for answer_to_plain, rules in (
        (refused, ["refuses a right frame"]),
        (right, ["refuses a right frame", "takes the"]),
    ):
        ledger = noted((plain, refused), (tolerated, refused))
        assert len(ledger.kinds) == 2
        rule = next(rule for rule in ledger.kinds if rule.startswith("takes the"))
        _acquit(CallableEndpoint(decoder=lambda bits, told=answer_to_plain: told), ledger, rule)
        assert [each[: len(start)] for each, start in zip(ledger.kinds, rules, strict=True)] == rules
        assert sum(kind.count for kind in ledger.kinds.values()) == 2
