"""Make a failing case simpler while it goes on failing in the same way."""

import dataclasses
from collections.abc import Callable, Iterator
from typing import Any

from framesim.challenge.case import Case, Recipe, decode_case, encode_case, sent_by, wire_case
from framesim.errors import BadArgument
from framesim.networks.registry import network as network_called
from framesim.wire import WireFrame

__all__ = ["shrink", "simpler_frames"]


def shrink(case: Case, fails: Callable[[Case], bool], *, attempts: int) -> Case:
    """Return the simplest case found that fails as ``case`` does.

    Args:
        case: a failing case.
        fails: whether a case fails in the same way.
        attempts: how often ``fails`` may be asked.
    """
    left = attempts
    again = True
    while again and left > 0:
        again = False
        for candidate in _simpler(case):
            if left <= 0:
                break
            left -= 1
            if fails(candidate):
                case, again = candidate, True
                break
    return case


def _simpler(case: Case) -> Iterator[Case]:
    """Yield cases simpler than ``case``, the boldest first; each is smaller by a measure that cannot fall for ever."""
    recipe = case.recipe
    if case.mode == "encode":
        assert recipe is not None
        for frame in simpler_frames(recipe.frame):
            yield encode_case(case.network, frame, origin=case.origin)
        return
    if recipe is None:
        yield from _simpler_wires(case)
        return
    for change in _milder(recipe):
        if change.keep != 0:
            yield decode_case(case.network, change, origin=case.origin)
    sent = sent_by(case.network, recipe.frame)
    for frame in simpler_frames(recipe.frame):
        try:
            fitted = sent_by(case.network, frame)
        except BadArgument:
            continue
        flips = _moved(recipe.flips, sent, fitted)
        if flips is None or (recipe.keep is not None and recipe.keep > len(fitted)):
            continue
        tail = fitted.bits.to01() if recipe.tail == sent.bits.to01() else recipe.tail
        moved = dataclasses.replace(recipe, frame=frame, flips=flips, tail=tail)
        yield decode_case(case.network, moved, sent=fitted, origin=case.origin)


def _milder(recipe: Recipe) -> Iterator[Recipe]:
    """Yield recipes that spoil the same frame less."""
    if recipe.tail:
        yield dataclasses.replace(recipe, tail="")
        yield dataclasses.replace(recipe, tail=recipe.tail[: len(recipe.tail) // 2])
        yield dataclasses.replace(recipe, tail=recipe.tail[:-1])
    if recipe.lead:
        yield dataclasses.replace(recipe, lead=0)
    if recipe.keep is not None:
        yield dataclasses.replace(recipe, keep=None)
    if len(recipe.flips) > 2:
        half = len(recipe.flips) // 2
        yield dataclasses.replace(recipe, flips=recipe.flips[:half])
        yield dataclasses.replace(recipe, flips=recipe.flips[half:])
    for place in range(len(recipe.flips)):
        yield dataclasses.replace(recipe, flips=recipe.flips[:place] + recipe.flips[place + 1 :])


def _simpler_wires(case: Case) -> Iterator[Case]:
    bits, idle = case.bits, str(network_called(case.network).layout.idle)
    lengths = dict.fromkeys((len(bits) // 2, len(bits) * 3 // 4, len(bits) - 8, len(bits) - 1))
    for shorter in (bits.lstrip(idle), *(bits[:length] for length in lengths if length > 0)):
        if len(shorter) < len(bits):
            yield wire_case(case.network, shorter, origin=case.origin)


def _moved(flips: tuple[int, ...], old: WireFrame, new: WireFrame) -> tuple[int, ...] | None:
    """Return the flips at the same places of the same fields in another frame; None if a place is gone.

    Places in the later half of a field count from its end, so that the end of a CRC stays the end of a CRC.
    """
    spans = {span.name: span for span in new.spans}
    places = []
    for flip in flips:
        span = old.span_at(flip)
        fitted = spans.get(span.name)
        if fitted is None:
            return None
        early = flip - span.start <= span.stop - 1 - flip
        place = fitted.start + (flip - span.start) if early else fitted.stop - (span.stop - flip)
        if not fitted.start <= place < fitted.stop:
            return None
        places.append(place)
    return tuple(sorted(set(places))) if len(set(places)) == len(places) else None


def simpler_frames(frame: Any) -> Iterator[Any]:
    """Yield frames with one field made simpler: off, absent, shorter, zero, fewer bits set."""
    names = [field.name for field in dataclasses.fields(frame)]
    for name in names:
        for value in _simpler_values(getattr(frame, name)):
            for forced in ({}, {"dlc": None}, {"ethertype": len(value)} if isinstance(value, bytes) else {}):
                if not set(forced) <= set(names):
                    continue
                try:
                    simpler = dataclasses.replace(frame, **{**forced, name: value})
                except BadArgument:
                    continue
                if _size(simpler) < _size(frame):
                    yield simpler
                    break


def _simpler_values(value: Any) -> Iterator[Any]:
    if value is True:
        yield False
    elif isinstance(value, bytes):
        lengths = (0, len(value) // 4, len(value) // 2, len(value) * 3 // 4, len(value) - 2, len(value) - 1)
        yield from (value[:length] for length in dict.fromkeys(lengths) if 0 <= length < len(value))
        yield bytes(len(value))
        for place in [place for place, byte in enumerate(value) if byte][:8]:
            yield value[:place] + b"\0" + value[place + 1 :]
            yield value[:place] + bytes([value[place] & value[place] - 1]) + value[place + 1 :]
    elif isinstance(value, tuple):
        yield from (value[:length] for length in range(1, len(value)))
        yield (0,) * len(value)
        for place, nibble in enumerate(value):
            if nibble:
                yield (*value[:place], nibble & nibble - 1, *value[place + 1 :])
    elif isinstance(value, int) and not isinstance(value, bool) and value > 0:
        yield 0
        yield value >> 1 << 1 if value & 1 else value & value - 1
        yield value >> value.bit_length() // 2
        yield value & (1 << value.bit_length() - 1) - 1
        yield value >> 1
        yield value - 1
        yield None


def _size(frame: Any) -> tuple[int, int]:
    """Return how large a frame is: bytes and flags, then the sum of its numbers and bytes."""
    outer = inner = 0
    for field in dataclasses.fields(frame):
        value = getattr(frame, field.name)
        if isinstance(value, bytes | tuple):
            outer += 2 * len(value)
            inner += sum(value)
        elif isinstance(value, bool):
            outer += value
        elif isinstance(value, int):
            inner += value + 1
    return outer, inner
