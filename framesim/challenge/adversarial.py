"""Wires that decoders dislike: lost step, flips that hide, frames cut short or run together, lengths that lie."""

import random
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import combinations
from typing import Any

from framesim.challenge.case import Case, Recipe, decode_case, sent_by
from framesim.challenge.expected import ACCEPTED, expected_of_many
from framesim.networks.registry import network as network_called
from framesim.wire import WireFrame

__all__ = ["KINDS", "hidden_pairs", "spoiled"]

_REST = 12
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
    rest = _rest(network)
    for place, count in enumerate((1, 1, 1, 1, 1, 1, 1, 1, 2, 2, 2, 3, 3, 4, 8)):
        yield Recipe(frame=sent.frame, flips=_some(range(len(sent)), count, rng), tail=rest if place % 2 else "")


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


@lru_cache(maxsize=16)
def _rest(network: str) -> str:
    """Return a resting wire long enough for a frame to end one stuff bit later."""
    return str(network_called(network).layout.idle) * _REST


def _some(places: Sequence[int], count: int, rng: random.Random) -> tuple[int, ...]:
    """Return up to ``count`` different ones of ``places``, ascending."""
    if count == 1:
        return (places[int(rng.random() * len(places))],)
    return tuple(sorted({places[int(rng.random() * len(places))] for _ in range(count)}))


def hidden_pairs(network: str, frame: Any) -> list[Case]:
    """Return every pair of flips of one frame that leaves the CRC right, so that another frame is accepted.

    One flip makes a bit into a stuff bit, the other a stuff bit into a bit; what lies between moves by one. All pairs
    are tried: quick only on networks whose receivers can be run many at once.
    """
    sent = sent_by(network, frame)
    rest = _rest(network)  # a stuff bit more, and the frame ends later
    cases = [
        decode_case(
            network, Recipe(frame=frame, flips=pair, tail=rest), sent=sent, origin="a pair of flips that no check sees"
        )
        for pair in combinations(range(len(sent)), 2)
    ]
    answers = zip(cases, expected_of_many(cases), strict=True)
    return [case for case, answer in answers if answer.verdict == ACCEPTED and answer.frame != frame]
