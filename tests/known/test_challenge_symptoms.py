"""What an answer is compared in and what not, and the words for what is wrong with it."""

import pytest

import framesim as fs
from framesim.challenge.case import Recipe, decode_case, encode_case, wire_case
from framesim.challenge.expected import expected
from framesim.challenge.symptom import symptom

SENT = fs.SentFrame(status=3, nibbles=(1, 2), pause=100, crc_form="legacy")
CAN = fs.CanFrame(identifier=0x123, payload=b"\x01\x02")


def told(case, **answer):
    return symptom(case, expected(case), answer)


def test_what_a_receiver_cannot_know_of_a_sent_frame_is_not_compared():
    case = decode_case("sent", Recipe(frame=SENT))
    for more in ({}, {"pause": 7}, {"pause": None}, {"crc_form": "recommended"}, {"pause": 99, "crc_form": "x"}):
        assert told(case, verdict="accepted", status=3, nibbles="12", **more) is None
    assert told(case, verdict="accepted", status=2, nibbles="12", pause=100) == "reads status wrong"
    assert told(case, verdict="accepted", status=3, nibbles=[2, 1]) == "reads nibbles wrong"


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        ({"identifier": 0x123, "payload": "0102"}, None),  # the others follow, or have their defaults
        ({"identifier": 0x123, "payload": "0102", "dlc": 2, "extended": 0, "remote": False, "format": "can"}, None),
        ({"identifier": 0x122, "payload": "0103"}, "reads identifier and payload wrong"),
        ({"identifier": 0x123}, "leaves payload out of an accepted frame"),
        (
            {"identifier": 0x123, "payload": "0102", "format": "can-fd"},
            "takes a frame of can for one of another format",
        ),
        ({"identifier": 0x123, "payload": 258}, "reads payload wrong"),
        ({"identifier": 0x123, "payload": "0102", "extended": True}, "reads extended wrong"),
    ],
)
def test_a_field_left_out_counts_as_its_default_and_one_that_has_none_is_missed(answer, words):
    assert told(decode_case("can", Recipe(frame=CAN)), verdict="accepted", **answer) == words


def test_a_length_code_left_out_is_missed_only_where_it_does_not_follow_from_the_payload():
    full = fs.CanFrame(identifier=5, payload=bytes(8), dlc=12)
    case = decode_case("can", Recipe(frame=full))
    assert told(case, verdict="accepted", identifier=5, payload="00" * 8) == "leaves dlc out of an accepted frame"
    assert told(case, verdict="accepted", identifier=5, payload="00" * 8, dlc=8) == "reads dlc wrong"
    assert told(case, verdict="accepted", identifier=5, payload="00" * 8, dlc=12) is None
    remote = decode_case("can", Recipe(frame=fs.CanFrame(identifier=5, remote=True, dlc=3)))
    assert told(remote, verdict="accepted", identifier=5, remote=True).startswith("leaves dlc out")


def rejected():
    """A frame whose CRC is wrong at its last bit, and the right answer to it."""
    sent = fs.encode(CAN)
    crc = next(span for span in sent.spans if span.name == "CRC")
    case = decode_case("can", Recipe(frame=CAN, flips=(crc.stop - 2,)))
    want = expected(case)
    assert want.verdict == "rejected"
    return case, want


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        ({}, None),
        ({"check": None, "at": None}, None),
        ({"check": "stuffing"}, "says stuffing where crc speaks first"),
        ({"check": "CRC"}, "names a check that is no word of the vocabulary"),
        ({"check": ["crc"]}, "names a check that is no word of the vocabulary"),
        ({"at": -1}, "says crc too early"),
        ({"at": 1 << 40}, "says crc too late"),
        ({"at": "46"}, "names a wire bit that is no whole number"),
        ({"at": True}, "names a wire bit that is no whole number"),
    ],
)
def test_a_rejection_is_compared_in_what_it_says(answer, words):
    case, want = rejected()
    said = symptom(case, want, {"verdict": "rejected", "check": want.check, "at": want.at, **answer})
    assert said == words or (words is not None and said.startswith(words))
    assert (said is None) == (words is None)


def test_each_wrong_verdict_has_words_of_its_own():
    case, want = rejected()
    assert symptom(case, want, {"verdict": "refused"}) is None
    assert symptom(case, want, {"verdict": "accepted"}).startswith("takes a frame that crc must refuse, in ")
    assert symptom(case, want, {"verdict": "incomplete"}).startswith("comes to no verdict where crc must speak, in ")
    assert "verdict that is none of" in symptom(case, want, {"verdict": "Rejected"})
    assert "verdict that is none of" in symptom(case, want, {})
    short = decode_case("can", Recipe(frame=CAN, keep=20))
    assert told(short, verdict="incomplete") is told(short, verdict="refused") is None
    assert told(short, verdict="accepted") == "takes a frame where none is complete"
    assert told(short, verdict="rejected", check="stuffing", at=7).startswith(
        "says stuffing where no check may speak, in "
    )
    assert told(short, verdict="rejected", check=5) == "says that something is wrong where no check may speak"
    whole = decode_case("can", Recipe(frame=CAN))
    assert told(whole, verdict="incomplete") == "comes to no verdict on a right frame"
    assert told(whole, verdict="refused") == "refuses a right frame"
    assert told(whole, verdict="rejected", check="crc", at=3) == "refuses a right frame, saying crc, in identifier"


def test_a_refusal_over_a_bit_that_may_have_either_level_is_told_from_a_refusal_of_a_right_frame():
    sent = fs.encode(CAN)
    last = decode_case("can", Recipe(frame=CAN, flips=(len(sent) - 1,)))
    assert expected(last).verdict == "accepted"
    assert told(last, verdict="refused").endswith("as an error, where a receiver takes either level")
    # With resting bits before it, as well; but not where no frame was sent as it is read.
    led = decode_case("can", Recipe(frame=CAN, flips=(len(sent) - 1,), lead=5))
    assert told(led, verdict="refused") == told(last, verdict="refused")
    assert told(wire_case("can", sent.bits.to01()), verdict="refused") == "refuses a right frame"
    # Nor where the rest of the frame has moved: LIN's break may be longer than a sender's thirteen bits.
    lin = fs.encode(fs.LinFrame(identifier=5, payload=b"1")).bits.to01()
    longer = wire_case("lin", f"00{lin}{'1' * 12}")
    assert expected(longer).verdict == "accepted"
    assert told(longer, verdict="refused") == "refuses a right frame"


def test_wrong_bits_are_told_by_what_became_of_them():
    case = encode_case("can", CAN)
    sent = fs.encode(CAN)
    bits = sent.bits.to01()
    assert told(case, bits=bits) is None
    assert told(case) == told(case, bits=None) == told(case, bits="01x") == "answers without bits: a text of 0 and 1"
    assert told(case, bits=bits + "1") == "sends bits after the end of the frame"
    assert told(case, bits=bits[:30]).startswith("stops too early, in ")
    assert told(case, bits=bits[:3] + str(1 - int(bits[3])) + bits[4:]) == "sends a wrong bit, in identifier"
    inserted = sent.inserted[0]
    assert "leaves out" in told(case, bits=bits[:inserted] + bits[inserted + 1 :])
    extra = f"{bits[:5]}{1 - int(bits[5])}{bits[5:]}"
    assert told(case, bits=extra) == "sends a bit too many, in identifier"


def test_a_case_is_its_frame_led_in_flipped_cut_and_followed_as_its_recipe_says():
    bits = fs.encode(CAN).bits.to01()
    flipped = f"{bits[:4]}{1 - int(bits[4])}{bits[5:]}"
    for recipe, wire in (
        (Recipe(frame=CAN), bits),
        (Recipe(frame=CAN, lead=3), f"111{bits}"),
        (Recipe(frame=CAN, flips=(4,)), flipped),
        (Recipe(frame=CAN, keep=20), bits[:20]),
        (Recipe(frame=CAN, keep=0, tail="01"), "01"),
        (Recipe(frame=CAN, flips=(4,), keep=20, lead=2, tail="0101"), f"11{flipped[:20]}0101"),
    ):
        assert decode_case("can", recipe).bits == wire
        assert recipe.plain == (wire == bits)
    lin = fs.LinFrame(identifier=5, payload=b"1")
    assert decode_case("lin", Recipe(frame=lin, lead=4)).bits == f"1111{fs.encode(lin).bits.to01()}"
