"""Frames that end with the wire, behind a delimiter that is hunted for: their receivers in numbers."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from bitarray import bitarray
from numpy.typing import NDArray

from framesim.codes import crc
from framesim.coverage.fast.differences import Added, Differences, guard_numbers
from framesim.coverage.fast.keyed import Keyed
from framesim.coverage.fast.sending import Given
from framesim.coverage.fast.steady import bits_by_field
from framesim.coverage.linear.framing import NONE, Framing, framing, without_guards
from framesim.errors import NotFeasible
from framesim.kernels.walked_moves import NOWHERE
from framesim.linecoding.coding import PLAIN
from framesim.networks.automaton import CHECKS
from framesim.networks.layout import Field, Layout
from framesim.networks.network import Network
from framesim.networks.view import View, value_of
from framesim.wire import WireFrame
from framesim.words import Check

if TYPE_CHECKING:
    from framesim.coverage.fast.laid import Laid, Shape

__all__ = ["OpenPath", "open_path_of"]

WIDEST = 16  # bits of a steering value; the layout is asked about each


@dataclass(frozen=True, kw_only=True, eq=False)
class OpenPath:
    """Frames of one length; see ``kernels.open_ended.end_flips`` for what is not said here.

    Attributes:
        network: of the frames.
        first: field → number of its first bit behind the delimiter.
        guards: guarded field → its code in numbers.
        moves: of a receiver that hunts.
        hunt: its states.
        add_bits: of a bit behind the delimiter.
        add_numbers: none.
        steer: first bit that steers, how many.
        ways: of the values.
        refused: by way and length.
        code: width, polynomial, initial and sound register of the CRC, number of its check.
    """

    network: Network
    first: Mapping[str, int]
    guards: Mapping[str, Differences | Added]
    moves: NDArray[np.uint64]
    hunt: Framing
    add_bits: NDArray[np.uint64]
    add_numbers: NDArray[np.int64]
    steer: tuple[int, int]
    ways: NDArray[np.uint8]
    refused: NDArray[np.uint8]
    code: tuple[int, int, int, int, int]

    def walk(self, bits: bitarray) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        """Return the states of a receiver of an undisturbed frame, up to the first bit behind the delimiter."""
        clean, _ = self.hunt.walk(bits)
        return np.array(clean, np.int32), np.zeros(0, np.int32)

    def wire_at(self, sent: WireFrame) -> NDArray[np.int64]:
        """Return the wire bit of each bit behind the delimiter."""
        return np.arange(len(sent) - len(self.add_bits), len(sent))

    def follow(
        self, shape: "Shape", laid: "Laid", given: Given, rows: NDArray[np.int64], *,
        same_end: bool, spoken: NDArray[np.int64], fates: NDArray[np.int64], listed: NDArray[np.int64],
    ) -> tuple[int, int]:  # fmt: skip
        """Judge frames; ``given`` are the first five arguments of the kernel."""
        from framesim.kernels.open_ended import end_flips

        width, polynomial, initial, residue, check = self.code
        flip, found = end_flips(
            *given, rows, laid.wires, shape.clean, self.moves, self.add_bits, *self.steer, self.ways, self.refused,
            width, np.uint64(polynomial), np.uint64(initial), np.uint64(residue), check, spoken, fates, listed,
        )  # fmt: skip
        return int(flip), int(found)


def open_path_of(network: Network, sent: WireFrame) -> OpenPath:
    """Return the numbers of frames of the length of ``sent``.

    Raises:
        NotFeasible: the layout is not of this kind.
    """
    return _open_path_of(network, Keyed(sent, (network, sent.fields, len(sent))))


@lru_cache(maxsize=64)
def _open_path_of(network: Network, like: Keyed) -> OpenPath:
    """Return the numbers of all frames that have a key in common."""
    sent, layout = like.value, network.layout
    body = tuple(field for field in layout.fields if not field.elastic)
    guarded = body[-1]
    guard, code = guarded.guard, guarded.guard.code if guarded.guard else None
    if guard is None or code is None or any(field.guard for field in body[:-1]):
        raise NotFeasible("walked: a frame that ends with the wire must end with its only code, a CRC")
    elastic = [field.elastic for field in layout.fields]
    if elastic != sorted(elastic, reverse=True) or any(field.coding is not PLAIN or field.check for field in body):
        raise NotFeasible("walked: behind a hunted delimiter everything must be plain")
    if guard.covers != tuple(field.name for field in body[:-1]):
        raise NotFeasible("walked: the CRC must cover everything behind the delimiter")
    bits = bits_by_field(layout, sent)
    rows = tuple(layout.fields[layout.place[name]] for name in sent.fields)
    made = guard_numbers(rows, guarded, bits)
    first, add_bits = _adding(guarded, made, {name: len(own) for name, own in bits.items()})
    hunt, moves = _hunting(network)
    found = crc(code)
    steer, ways, values = _ways(body)
    return OpenPath(
        network=network,
        first=first,
        guards={guarded.name: made},
        moves=moves,
        hunt=hunt,
        add_bits=add_bits,
        add_numbers=np.zeros((len(add_bits), 2), np.int64),
        steer=steer,
        ways=ways,
        refused=_refusals(network, len(sent), tuple(tuple(value.items()) for value in values)),
        code=(found.width, found.polynomial, found.initial, found.residue, CHECKS.index(guard.check)),
    )


def _adding(
    guarded: Field, made: Differences | Added, widths: Mapping[str, int]
) -> tuple[dict[str, int], NDArray[np.uint64]]:
    """Return the number of each field's first bit, and what a differing bit adds to the CRC."""
    first, n_read = {}, 0
    for name, width in widths.items():
        first[name], n_read = n_read, n_read + width
    add_bits = np.zeros(n_read, np.uint64)
    for (name, place), value in made.of_bit.items():
        add_bits[first[name] + place] = value
    for place in range(made.width):
        add_bits[first[guarded.name] + place] = 1 << (place if guarded.lsb_first else made.width - 1 - place)
    return first, add_bits


@lru_cache(maxsize=8)
def _hunting(network: Network) -> tuple[Framing, NDArray[np.uint64]]:
    """Return the states of a receiver that hunts for the delimiter and takes one bit more, and its moves."""
    fields = without_guards(network.layout).fields
    hunted = [field for field in fields if field.elastic]
    one = replace(fields[len(hunted)], width=1, octets=False, steers=False, when=None)
    layout = Layout(fields=(*hunted, one), idle=network.layout.idle)
    hunt = framing(replace(network, layout=layout, configured_for=None))
    if (hunt.fault != NONE).any():
        raise NotFeasible("walked: a check may speak before the delimiter is found")
    moves = np.where(hunt.target == NONE, NOWHERE, hunt.target).astype(np.uint64)
    return hunt, moves.reshape(-1)


def _ways(body: tuple[Field, ...]) -> tuple[tuple[int, int], NDArray[np.uint8], list[dict[str, Any]]]:
    """Return which bits decide on the fields of a frame; which way each of their values goes; a value for each way."""
    conditions = {field.when for field in body if field.when is not None}
    steering = next((field for field in body if field.steers), None)
    if not conditions or steering is None:
        return (0, 0), np.zeros(1, np.uint8), [{}]
    width = steering.width_given({})
    at = sum(field.width_given({}) for field in body[: body.index(steering)])
    if len(conditions) > 1 or width > WIDEST:
        raise NotFeasible("walked: more than one thing decides which fields a frame has")
    condition = conditions.pop()
    values: dict[bool, dict[str, Any]] = {}
    ways = np.zeros(1 << width, np.uint8)
    for number in range(1 << width):
        read = value_of(bitarray(f"{number:0{width}b}"), lsb_first=steering.lsb_first, octets=steering.octets)
        ways[number] = condition.holds({steering.name: read})
        values.setdefault(bool(ways[number]), {steering.name: read})
    return (at, width), ways, [values.get(way, {}) for way in (False, True)]


@lru_cache(maxsize=8)
def _refusals(network: Network, n_bits: int, ways: tuple[tuple[tuple[str, Any], ...], ...]) -> NDArray[np.uint8]:
    """Return what speaks about so many bits behind the delimiter, for each way that a frame can have."""
    return np.array(
        [[_refused(network.layout, dict(values), left) for left in range(n_bits + 1)] for values in ways], np.uint8
    )


def _refused(layout: Layout, values: dict[str, Any], left: int) -> int:
    """Return 1 + number of the check that speaks about ``left`` bits behind the delimiter before the CRC; 0: none."""
    row: int | None = next(index for index, field in enumerate(layout.fields) if not field.elastic)
    before, after, opened = 0, 0, layout.open_index
    assert opened is not None
    while row is not None:
        field = layout.fields[row]
        before += field.width_given(values) if row < opened else 0
        after += field.width_given(values) if row > opened else 0
        row = layout.following(row, values)
    keep = left - before - after
    if keep < 0 or keep % layout.fields[opened].grain:
        return CHECKS.index(Check.LENGTH) + 1
    view = View()
    view.values = {**values, layout.fields[opened].name: bytes(keep // 8)}
    for rule in layout.rules_at.get(opened, ()):
        if not rule.holds(view):
            if rule.check is None:
                raise NotFeasible("walked: a rule leaves frames without a word")
            return CHECKS.index(rule.check) + 1
    return 0
