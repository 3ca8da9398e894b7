"""What a frame's checks make of differences: each guard of a layout in numbers, derived from the guard itself.

A guard is a code over bits. Of most, a difference in the bits gives a difference in the code, whatever the bits are;
those of a named CRC follow from its polynomial, others are found by asking the guard about single bits. A sum with
the carry added back is none of these, but each bit adds a number to it. Which it is, is tried out on random bits, so
that a guard which is neither is refused.
"""

import random
from collections.abc import Mapping
from dataclasses import dataclass

from bitarray import bitarray

from framesim.codes import crc
from framesim.codes.syndromes import syndromes
from framesim.errors import NotFeasible
from framesim.networks.layout import Field, Guard
from framesim.networks.view import Piece, View, value_of

__all__ = ["Added", "Bits", "Differences", "Wireless", "agrees", "guard_numbers", "says_so", "view_of"]

TRIALS = 12

Bits = Mapping[str, bitarray]  #: what was read, field by field, in wire order


@dataclass(frozen=True, kw_only=True)
class Differences:
    """A guard of which differences are known.

    Attributes:
        of_bit: field and place of a covered bit → what it changes in the guard's value.
        width: bits of the value.
    """

    of_bit: Mapping[tuple[str, int], int]
    width: int


@dataclass(frozen=True, kw_only=True)
class Added:
    """A guard that is the complement of a sum with the carry added back.

    Attributes:
        of_bit: field and place of a covered bit → the number it adds.
        width: bits of the value.
    """

    of_bit: Mapping[tuple[str, int], int]
    width: int

    def told(self, total: int) -> int:
        """Return the complement of a sum."""
        most = (1 << self.width) - 1
        return most - (0 if total == 0 else (total - 1) % most + 1)


class Wireless(View):
    """A view of a frame that was never on a wire: a guard that asks for wire bits has no numbers."""

    __slots__ = ()

    def coded(self, *names: str) -> bitarray:
        """Refuse."""
        raise NotFeasible(f"walked: a guard looks at the wire bits of {names[0]}")

    def inserted(self, *names: str) -> int:
        """Refuse."""
        raise NotFeasible(f"walked: a guard counts the inserted bits of {names[0]}")


def view_of(fields: tuple[Field, ...], bits: Bits) -> View:
    """Return what codes and rules look at, with these bits in the fields."""
    view = Wireless()
    for field in fields:
        if field.name in bits:
            own = bits[field.name]
            view.values[field.name] = value_of(
                own, lsb_first=field.lsb_first, octets=field.octets, nibbles=field.nibbles
            )
            view.pieces[field.name] = Piece(own, 0, len(own))
    return view


def _covered(fields: tuple[Field, ...], bits: Bits, names: tuple[str, ...]) -> list[tuple[str, int]]:
    """Return the bits of the named fields, in the order in which they are covered."""
    return [(name, place) for name in names if name in bits for place in range(len(bits[name]))]


def guard_numbers(
    fields: tuple[Field, ...], guarded: Field, sent: Bits, *, keep: frozenset[str] = frozenset()
) -> Differences | Added:
    """Return a guard in numbers.

    Args:
        fields: of the frame, in wire order.
        guarded: the field that is a code.
        sent: the frame's bits by field.
        keep: fields that are read as they were sent when this guard speaks.

    Raises:
        NotFeasible: differences do not tell what the guard says.
    """
    guard = guarded.guard
    assert guard is not None
    width = len(sent[guarded.name])
    covered = _covered(fields, sent, guard.covers)
    if guard.code is not None:
        code = crc(guard.code)
        zero = code._read(0)
        left = syndromes(code.generator, len(covered) + code.width)[code.width :][::-1].tolist()
        found = {bit: code._read(register) ^ zero for bit, register in zip(covered, left, strict=True)}
        made: Differences | Added = Differences(of_bit=found, width=width)
    else:
        made = _asked(fields, guard, sent, covered, width, keep)
    if not agrees(fields, guard, sent, made, keep):
        raise NotFeasible(f"walked: {guarded.name} is neither a linear code nor a sum")
    return made


def _asked(
    fields: tuple[Field, ...], guard: Guard, sent: Bits, covered: list[tuple[str, int]], width: int,
    keep: frozenset[str],
) -> Differences | Added:  # fmt: skip
    """Ask the guard about each bit by itself."""
    blank = {name: bitarray(len(bits)) for name, bits in sent.items()}
    rest = guard.expected(view_of(fields, blank))
    alone = {}
    for name, place in covered:
        bits = {**blank, name: bitarray(blank[name])}
        bits[name][place] = 1
        alone[name, place] = guard.expected(view_of(fields, bits))
    linear = Differences(of_bit={bit: value ^ rest for bit, value in alone.items()}, width=width)
    if agrees(fields, guard, sent, linear, keep):
        return linear
    return Added(of_bit={bit: rest - value for bit, value in alone.items()}, width=width)


def agrees(
    fields: tuple[Field, ...], guard: Guard, sent: Bits, made: Differences | Added, keep: frozenset[str]
) -> bool:
    """Tell whether the numbers say of random bits what the guard says."""
    rng = random.Random(1)
    return all(says_so(fields, guard, sent, made, _shuffled(sent, keep, rng)) for _ in range(TRIALS))


def says_so(fields: tuple[Field, ...], guard: Guard, sent: Bits, made: Differences | Added, bits: Bits) -> bool:
    """Tell whether the numbers, taken from the frame as sent, say of ``bits`` what the guard says."""
    total = 0
    for (name, place), value in made.of_bit.items():
        if isinstance(made, Added):
            total += value * bits[name][place]
        elif bits[name][place] != sent[name][place]:
            total ^= value
    said = made.told(total) if isinstance(made, Added) else guard.expected(view_of(fields, sent)) ^ total
    return guard.expected(view_of(fields, bits)) == said


def _shuffled(sent: Bits, keep: frozenset[str], rng: random.Random) -> dict[str, bitarray]:
    """Return random bits: none set, few, half of them or most; those that do not count must make no difference."""
    dense = rng.choice((0.0, 0.05, 0.5, 0.95))
    return {
        name: bitarray(own) if name in keep else bitarray([rng.random() < dense for _ in own])
        for name, own in sent.items()
    }
