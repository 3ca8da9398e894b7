"""What happened to a frame, in one plain sentence."""

from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from framesim.judging import Judgement
from framesim.networks.receiver import Reception
from framesim.wire import WireFrame
from framesim.words import Check, Outcome

__all__ = ["describe_judgement", "describe_reception", "value_text"]

_NAMED_FLIPS = 6  # more than these would make it no sentence


def describe_judgement(sent: WireFrame, flips: Sequence[int], judgement: Judgement) -> str:
    """Return what flipped, who spoke where, what became of the frame, and who else would have caught it."""
    return f"{_flipped(sent, flips)}; {_outcome(sent, judgement)}"


def describe_reception(reception: Reception, n_bits: int) -> str:
    """Return what a receiver made of ``n_bits`` bits."""
    if reception.check is not None:
        return f"not accepted: {reception.check.value} spoke at bit {reception.at}"
    if reception.accepted:
        return "accepted" if reception.valid_at is None else f"accepted at bit {reception.valid_at}"
    if not reception.complete:
        return f"not accepted: the wire ended after {n_bits} bits, before the receiver could conclude"
    return "not accepted: no check spoke and no frame was seen"


def value_text(value: Any) -> str:
    """Return a field's value as people write it: bytes in hex, large numbers in hex, yes and no."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return f"{value:#x}" if value > 9 else str(value)
    if isinstance(value, bytes):
        return value.hex() or "empty"
    if isinstance(value, tuple):
        return ",".join(value_text(item) for item in value) or "empty"
    return "none" if value is None else str(value)


def _flipped(sent: WireFrame, flips: Sequence[int]) -> str:
    if not flips:
        return "no bit flipped"
    if len(flips) > _NAMED_FLIPS:
        return f"{len(flips)} bits flipped, the first of them {flips[0]} ({sent.span_at(flips[0]).name})"
    places = [f"{place} ({sent.span_at(place).name})" for place in flips]
    return f"{'bits' if len(flips) > 1 else 'bit'} {_listed(places)} flipped"


def _outcome(sent: WireFrame, judgement: Judgement) -> str:
    outcome = judgement.outcome
    if outcome is Outcome.DETECTED and judgement.check is not None and judgement.at is not None:
        late = judgement.at - len(sent) + 1
        after = f", {late} {'bits' if late > 1 else 'bit'} after the frame's end" if late > 0 else ""
        first = f"{judgement.check.value} spoke at bit {judgement.at}{after}: {outcome.value}"
        return f"{first}; {_others(judgement.alone, judgement.check)}"
    if outcome is Outcome.UNDETECTED:
        changes = _changes(sent.frame, judgement.reception.frame)
        return f"no check spoke and the receiver took {changes}: undetected"
    if outcome is Outcome.DELIVERED:
        return "no check spoke and the frame arrived as it was sent: delivered"
    return "the receiver never took it for a frame: unseen; only a time-out above the link would tell"


def _others(alone: frozenset[Check], first: Check) -> str:
    """Say which other checks would have caught it by themselves."""
    others = sorted(check.value for check in alone if check is not first)
    if not others:
        return "no other check would have caught it"
    if len(others) == 1:
        return f"{others[0]} would have caught it alone"
    return f"{_listed(others)} would each have caught it alone"


def _changes(sent: Any, taken: Any) -> str:
    """Say what differs between the frame sent and the frame taken."""
    changes = [
        f"{field.name} {value_text(getattr(taken, field.name))} for {value_text(getattr(sent, field.name))}"
        for field in fields(sent)
        if getattr(taken, field.name) != getattr(sent, field.name)
    ]
    return _listed(changes) if changes else "another frame"


def _listed(items: Sequence[str]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"
