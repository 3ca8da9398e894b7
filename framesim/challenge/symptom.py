"""Where an answer differs from the right one, in words: equal words are one finding."""

import dataclasses
from collections.abc import Mapping
from typing import Any

from bitarray import bitarray

from framesim.challenge.case import Case, sent_by
from framesim.challenge.expected import ACCEPTED, INCOMPLETE, REFUSED, REJECTED, Expected
from framesim.networks.frame_options import follows
from framesim.networks.receiver import Receiver
from framesim.networks.registry import network as network_called
from framesim.networks.registry import network_of
from framesim.networks.transitions import HUNTING
from framesim.words import Check

__all__ = ["TOLERANCE", "symptom", "tolerated"]

_CHECKS = frozenset(check.value for check in Check)
_ABSENT = object()
_AGREE = 8  # so many bits must agree again for a bit to count as left out or sent too many
TOLERANCE = ", where a receiver takes either level"  #: ends what is put down to a bit that may have either level


def symptom(case: Case, want: Expected, got: Mapping[str, Any]) -> str | None:
    """Return what is wrong with the answer ``got``; None if it is right.

    Args:
        case: the question.
        want: the right answer.
        got: the answer as the protocol has it. What it leaves out of ``check`` and ``at`` is not compared.
    """
    return _encoded(case, want, got) if case.mode == "encode" else _decoded(case, want, got)


def _decoded(case: Case, want: Expected, got: Mapping[str, Any]) -> str | None:
    verdict = got.get("verdict")
    if verdict == want.verdict:
        if verdict == REJECTED:
            return _spoken(case, want, got)
        return _read(case, want, got) if verdict == ACCEPTED else None
    if verdict == REFUSED:
        if want.verdict != ACCEPTED:
            return None
    elif verdict not in (ACCEPTED, REJECTED, INCOMPLETE):
        return "answers with a verdict that is none of accepted, rejected, incomplete, refused"
    if want.verdict == ACCEPTED:
        return _refused(case, want, got)
    if want.verdict == REJECTED:
        where = _field_at(case, want.at)
        return (
            f"takes a frame that {want.check} must refuse{where}"
            if verdict == ACCEPTED
            else f"comes to no verdict where {want.check} must speak{where}"
        )
    return (
        "takes a frame where none is complete"
        if verdict == ACCEPTED
        else f"says {_said(got)} where no check may speak{_field_at(case, got.get('at'))}"
    )


def _said(got: Mapping[str, Any]) -> str:
    check = got.get("check")
    return check if isinstance(check, str) and check in _CHECKS else "that something is wrong"


def _spoken(case: Case, want: Expected, got: Mapping[str, Any]) -> str | None:
    """Compare check and place; either may be left out."""
    check, at = got.get("check"), got.get("at")
    if check is not None and check != want.check:
        if not isinstance(check, str) or check not in _CHECKS:
            return "names a check that is no word of the vocabulary"
        return f"says {check} where {want.check} speaks first{_field_at(case, want.at)}"
    if at is None or at == want.at:
        return None
    if type(at) is not int or want.at is None:
        return "names a wire bit that is no whole number"
    return f"says {want.check} too {'early' if at < want.at else 'late'}{_field_at(case, want.at)}"


def _read(case: Case, want: Expected, got: Mapping[str, Any]) -> str | None:
    """Compare the fields of an accepted frame; one left out counts as its default."""
    kind = got.get("format")
    right = network_of(want.frame).name.partition("-original")[0]
    if kind is not None and kind != right:
        return f"takes a frame of {right} for one of another format"
    wrong, absent = [], []
    for field in dataclasses.fields(want.frame):
        if not field.compare:
            continue
        value = getattr(want.frame, field.name)
        told = got.get(field.name, _ABSENT)
        if told is _ABSENT:
            if field.default != value and not follows(want.frame, field.name):
                absent.append(field.name)
        elif not _same(value, told):
            wrong.append(field.name)
    if wrong:
        return f"reads {' and '.join(wrong)} wrong"
    return f"leaves {absent[0]} out of an accepted frame" if absent else None


def _same(value: Any, told: Any) -> bool:
    if isinstance(value, bytes):
        return isinstance(told, str) and told.lower() == value.hex()
    if isinstance(value, tuple):
        return told == list(value) or (isinstance(told, str) and told.lower() == "".join(f"{each:x}" for each in value))
    return bool(told == value)


def _refused(case: Case, want: Expected, got: Mapping[str, Any]) -> str:
    """Say why a right frame may have been refused: the bits of it that may have either level come first."""
    either = tolerated(case, want)
    if either:
        return f"takes the {' and the '.join(either)} as an error{TOLERANCE}"
    if got.get("verdict") == INCOMPLETE:
        return "comes to no verdict on a right frame"
    says = f", saying {_said(got)}" if got.get("check") else ""
    return f"refuses a right frame{says}{_field_at(case, got.get('at'))}"


def tolerated(case: Case, want: Expected) -> tuple[str, ...]:
    """Return the fields of an accepted frame in which the wire has another level than a sender's, as it may.

    Nothing if the wire differs elsewhere too.
    """
    sent = sent_by(case.network, want.frame) if network_of(want.frame).name == case.network else None
    if sent is None:
        return ()
    idle = str(network_called(case.network).layout.idle)
    seen = case.bits.lstrip(idle)
    own = sent.bits.to01()
    rows = network_called(case.network).layout
    names: dict[str, None] = {}
    for place, (one, other) in enumerate(zip(own, seen, strict=False)):
        if one != other:
            span = sent.span_at(place)
            field = rows.fields[rows.place[sent.fields[sent.spans.index(span)]]]
            if field.level is None or field.check is not None or field.elastic:
                return ()  # more differs than what may have either level: a stuff bit moved, or two frames run together
            names[span.name] = None
    return tuple(names)


def _field_at(case: Case, at: Any) -> str:
    """Return `` in the field`` that a receiver reads at wire bit ``at``; nothing if it reads none there."""
    if type(at) is not int or not 0 <= at < len(case.bits):
        return ""
    receiver = Receiver(network_called(case.network))
    receiver.feed(bitarray(case.bits[:at]))
    state = receiver.state
    if state == HUNTING:
        state = receiver.layout.fields[0].name
    if receiver.done:
        return " after the verdict"
    return f", in {state}"


def _encoded(case: Case, want: Expected, got: Mapping[str, Any]) -> str | None:
    bits = got.get("bits")
    if bits == want.bits:
        return None
    if not isinstance(bits, str) or set(bits) - {"0", "1"}:
        return "answers without bits: a text of 0 and 1"
    sent = sent_by(case.network, case.frame)
    own = want.bits
    place = next((at for at, (one, other) in enumerate(zip(own, bits, strict=False)) if one != other), None)
    if place is None:
        if len(bits) > len(own):
            return "sends bits after the end of the frame"
        return f"stops too early, in {sent.span_at(len(bits)).name}"
    for omitted in reversed([at for at in sent.inserted if at <= place]):
        if (own[:omitted] + own[omitted + 1 :]).startswith(bits[: place + _AGREE]):
            span = sent.span_at(omitted)
            where = "the inserted bit after the last bit of" if omitted == span.stop - 1 else "an inserted bit in"
            return f"leaves out {where} {span.name}"
    span = sent.span_at(place)
    if len(bits) > len(own) and bits[place + 1 :][:_AGREE] == own[place:][:_AGREE]:
        return f"sends a bit too many, in {span.name}"
    return f"sends a wrong bit, in {span.name}"
