"""Wires that decoders dislike: lost step, flips that hide, frames cut short or run together, lengths that lie."""

import random
from collections.abc import Iterator
from typing import Any

from framesim.challenge.case import Case, Recipe, decode_case, sent_by
from framesim.networks.registry import network as network_called
from framesim.wire import WireFrame

__all__ = ["KINDS", "hidden_pairs", "spoiled"]

_LONG = 3_000  # wire bits; of longer frames only some places are tried
_PLACES = 60
_NEAR_STUFF = 6  # a flip this close to an inserted bit may make one, or unmake it


def spoiled(network: str, frame: Any, rng: random.Random) -> Iterator[Case]:
    """Yield one frame spoiled in every way, a few cases of each kind."""
    sent = sent_by(network, frame)
    for kind, make in KINDS.items():
        for recipe in make(network, sent, rng):
            yield decode_case(network, recipe, sent=sent, origin=kind)


def _as_sent(network: str, sent: WireFrame, rng: random.Random) -> Iterator[Recipe]:
    yield Recipe(frame=sent.frame)
    yield Recipe(frame=sent.frame, lead=rng.randrange(1, 12))


def _scattered(network: str, sent: WireFrame, rng: random.Random) -> Iterator[Recipe]:
    for count in (1, 1, 1, 1, 1, 1, 1, 1, 2, 2, 2, 3, 3, 4, 8):
        yield Recipe(frame=sent.frame, flips=_some(range(len(sent)), count, rng))


def _burst(network: str, sent: WireFrame, rng: random.Random) -> Iterator[Recipe]:
    for length in (3, 6, 12, 24):
        start = rng.randrange(len(sent))
        places = range(start, min(start + length, len(sent)))
        yield Recipe(frame=sent.frame, flips=_some(places, max(1, len(places) // 2), rng))


def _tail_ends(network: str, sent: WireFrame, rng: random.Random) -> Iterator[Recipe]:
    """Each of the last bits alone: delimiters, acknowledge, end of frame."""
    for place in range(max(0, len(sent) - 13), len(sent)):
        yield Recipe(frame=sent.frame, flips=(place,))


def _lost_step(network: str, sent: WireFrame, rng: random.Random) -> Iterator[Recipe]:
    """One or two flips beside inserted bits, so that a receiver takes a stuff bit for data or the reverse."""
    near = sorted(
        {place for at in sent.inserted for place in range(at - _NEAR_STUFF, at + 2) if 0 <= place < len(sent)}
    )
    if near:
        for count in (1, 1, 1, 2, 2, 2, 2):
            yield Recipe(frame=sent.frame, flips=_some(near, count, rng))


def _length_lies(network: str, sent: WireFrame, rng: random.Random) -> Iterator[Recipe]:
    """Flips within the fields that steer what follows: length codes, format bits."""
    steering = {field.name for field in network_called(network).layout.fields if field.steers}
    places = [
        place
        for name, span in zip(sent.fields, sent.spans, strict=True)
        if name in steering
        for place in range(span.start, span.stop)
    ]
    if places:
        for count in (1, 1, 1, 2, 2, 3):
            yield Recipe(frame=sent.frame, flips=_some(places, count, rng))


def _cut_short(network: str, sent: WireFrame, rng: random.Random) -> Iterator[Recipe]:
    idle = str(network_called(network).layout.idle)
    for keep in (len(sent) - 1, len(sent) - 2, rng.randrange(len(sent)), rng.randrange(len(sent))):
        yield Recipe(frame=sent.frame, keep=keep)
    yield Recipe(frame=sent.frame, keep=rng.randrange(len(sent)), tail=idle * 40)


def _run_together(network: str, sent: WireFrame, rng: random.Random) -> Iterator[Recipe]:
    bits, idle = sent.bits.to01(), str(network_called(network).layout.idle)
    yield Recipe(frame=sent.frame, tail=bits)
    yield Recipe(frame=sent.frame, tail=idle * 3 + bits)
    yield Recipe(frame=sent.frame, keep=rng.randrange(len(sent)), tail=bits)
    yield Recipe(frame=sent.frame, flips=_some(range(len(sent)), 1, rng), tail=bits)


#: name of the kind -> what makes it
KINDS = {
    "as sent": _as_sent,
    "scattered flips": _scattered,
    "a burst": _burst,
    "a flip at the end": _tail_ends,
    "flips beside inserted bits": _lost_step,
    "flips in a length or format": _length_lies,
    "cut short": _cut_short,
    "run together": _run_together,
}


def _some(places: Any, count: int, rng: random.Random) -> tuple[int, ...]:
    """Return ``count`` different ones of ``places``, ascending."""
    return tuple(sorted(rng.sample(places, min(count, len(places)))))


def hidden_pairs(network: str, frame: Any, *, most: int) -> list[Case]:
    """Return flips of two bits beside inserted bits that leave the CRC right, so that another frame is accepted.

    One makes a bit into a stuff bit, the other a stuff bit into a bit; what lies between moves by one. Only for
    networks whose receivers can be run many at once.
    """
    from framesim.challenge.expected import ACCEPTED, expected_of_many

    sent = sent_by(network, frame)
    near = sorted(
        {place for at in sent.inserted for place in range(at - _NEAR_STUFF, at + 2) if 0 <= place < len(sent)}
    )
    runs = [place for place in range(5, len(sent)) if len(set(sent.bits[place - 5 : place])) == 2]
    places = sorted({*near, *runs})
    if len(sent) > _LONG or not near:
        return []
    cases = [
        decode_case(
            network,
            Recipe(frame=frame, flips=(one, other)),
            sent=sent,
            origin="a pair of flips that the CRC does not see",
        )
        for place, other in enumerate(places)
        for one in places[:place]
    ]
    answers = expected_of_many(cases)
    hidden = [
        case
        for case, answer in zip(cases, answers, strict=True)
        if answer.verdict == ACCEPTED and answer.frame != frame
    ]
    return hidden[:most]
