"""A layout in numbers, for the makers of bit-sliced receivers and for the scalar receiver's table."""

from collections.abc import Iterator, Mapping
from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

from framesim.errors import NotFeasible
from framesim.kernels.sliced_can import CanShape, Head
from framesim.linecoding.coding import PLAIN
from framesim.linecoding.stuffing import DynamicStuffing
from framesim.networks.automaton import ACCEPT, CHECKS, IDLE, Tables, tables
from framesim.networks.layout import Field, Layout
from framesim.networks.network import Network
from framesim.words import Check

__all__ = ["CRC_TAKES", "can_shape", "moves_of"]

CRC_TAKES, CRC_SPEAKS, CHECK_SHIFT = 1 << 20, 1 << 21, 24
REST = 24  # bits of the resting wire at which every receiver of a frame without end has heard a broken run


def _paths(layout: Layout, guarded: str) -> Iterator[tuple[list[tuple[str, int]], dict[str, int]]]:
    """Yield the fields up to ``guarded`` with their widths, for every combination of the values that steer them."""

    def onward(
        row: int, so_far: list[tuple[str, int]], values: dict[str, int]
    ) -> Iterator[tuple[list[tuple[str, int]], dict[str, int]]]:
        field = layout.fields[row]
        if field.name == guarded:
            yield so_far, values
            return
        width = field.width_given(values)
        for value in range(1 << width) if field.steers else (0,):
            known = {**values, field.name: value} if field.steers else values
            following = layout.following(row, known)
            assert following is not None  # the guarded field is still to come
            yield from onward(following, [*so_far, (field.name, width)], known)

    yield from onward(0, [], {})


def _heads(layout: Layout, guarded: str) -> tuple[dict[int, Head], int]:
    """Return the ways in which a frame can begin, by the level that chooses them; and the bit that chooses."""
    found: dict[int, dict[tuple[int, ...], int]] = {0: {}, 1: {}}
    places: dict[int, tuple[int, ...]] = {}
    lengths: dict[int, int] = {}
    steering = [field for field in layout.fields if field.steers]
    branching = {field.when.name: field for field in layout.fields if field.when is not None}
    chooser_name = _chooser(layout, steering, branching)
    chooser = -1
    for fields, values in _paths(layout, guarded):
        side = values[chooser_name]
        begin, at = {}, 0
        for name, width in fields:
            begin[name] = at
            at += width
        chooser = begin[chooser_name]
        last = [name for name, _ in fields if name in values][-1]
        lengths[side] = begin[last] + dict(fields)[last]
        asked = [name for name, _ in fields if name in values and name != chooser_name]
        wide = [(name, dict(fields)[name]) for name in asked]
        places[side] = tuple(begin[name] + place for name, width in wide for place in range(width))
        bits = tuple(values[name] >> width - 1 - place & 1 for name, width in wide for place in range(width))
        found[side][bits] = at - lengths[side]
    heads = {side: _head(lengths[side], places[side], sizes) for side, sizes in found.items()}
    return heads, chooser


def _head(length: int, places: tuple[int, ...], sizes: Mapping[tuple[int, ...], int]) -> Head:
    """Return a head that lists only the bits on which the size depends."""
    asked = [
        place
        for place in range(len(places))
        if any(size != sizes[(*bits[:place], 1 - bits[place], *bits[place + 1 :])] for bits, size in sizes.items())
    ]
    ordered = []
    for bits in product((0, 1), repeat=len(asked)):
        known = dict(zip(asked, bits, strict=True))
        ordered.append(sizes[tuple(known.get(place, 0) for place in range(len(places)))])
    return Head(length=length, places=tuple(places[place] for place in asked), sizes=tuple(ordered))


def _chooser(layout: Layout, steering: list[Field], branching: Mapping[str, Field]) -> str:
    """Return the one-bit field on which the order of the fields depends."""
    for field in steering:
        if field.width != 1:
            continue
        rows = [layout.following(layout.place[field.name], {**_zeros(steering), field.name: level}) for level in (0, 1)]
        if rows[0] != rows[1]:
            return field.name
    raise NotFeasible("sliced: no single bit tells two ways apart in which a frame begins")


def _zeros(steering: list[Field]) -> dict[str, int]:
    return {field.name: 0 for field in steering}


@lru_cache(maxsize=8)
def can_shape(network: Network) -> CanShape:
    """Return the numbers of a dynamically stuffed format with one CRC.

    Raises:
        NotFeasible: the layout is of another kind.
    """
    made = tables(network)  # refuses what is not one CRC over one stuffed region
    layout = network.layout
    guarded = next(field for field in layout.fields if field.guard)
    coding = guarded.coding
    if not isinstance(coding, DynamicStuffing) or not coding.at_end or layout.idle != 1 or made.run != 5:
        raise NotFeasible("sliced: not a run of five, stuffed to its end, on a wire that rests recessive")
    heads, chooser = _heads(layout, guarded.name)
    early: list[tuple[int, int]] = []
    late: list[tuple[int, int]] = []
    offset = 0
    spoken = guarded.guard.spoken_after if guarded.guard else None
    heard = spoken is None
    for field in layout.fields[layout.place[guarded.name] + 1 : layout.accept_index + 1]:
        width = field.width_given({})
        if field.coding is not PLAIN or field.steers:
            raise NotFeasible("sliced: what follows the CRC must be plain and fixed")
        for place in range(width):
            if field.check is not None and field.level is not None:
                (late if heard else early).append((offset + place, field.level >> width - 1 - place & 1))
        offset += width
        heard = heard or field.name == spoken
    longest = max(head.length + max(head.sizes) for head in heads.values()) + made.width
    return CanShape(
        heads=(heads[0], heads[1]),
        chooser=chooser,
        run=made.run,
        width=made.width,
        polynomial=made.polynomial,
        initial=made.initial,
        early=tuple(early),
        late=tuple(late),
        planes=longest + longest // (made.run - 1) + offset + REST,
    )


def code_numbers(network: Network) -> NDArray[np.int64]:
    """Return the CRC's width, polynomial and preset, and the numbers of the checks that a sliced receiver tells."""
    made = tables(network)
    checks = [CHECKS.index(Check.STUFFING), CHECKS.index(Check.FORM), made.crc_check]
    return np.array([made.width, made.polynomial, made.initial, *checks], np.int64)


@lru_cache(maxsize=8)
def moves_of(network: Network) -> NDArray[np.uint32]:
    """Return the scalar receiver's table: node, last level and run in one state; see ``sliced_driver.walk``."""
    return _moves(tables(network), network.layout.idle)


def _moves(made: Tables, idle: int) -> NDArray[np.uint32]:
    stuffing = CHECKS.index(Check.STUFFING)
    start, done = (IDLE, idle, 0), (ACCEPT, idle, 0)
    numbers = {start: 0, done: 1}
    todo, rows = [start], {1: (1, 1)}
    while todo:
        state = todo.pop()
        moves = []
        for level in (0, 1):
            after, what = _move(made, state, level, stuffing)
            if after[0] == IDLE:
                after = start
            if after[0] == ACCEPT:
                after = done
            if after not in numbers:
                numbers[after] = len(numbers)
                todo.append(after)
            moves.append(numbers[after] | what)
        rows[numbers[state]] = (moves[0], moves[1])
    return np.array([move for number in range(len(numbers)) for move in rows[number]], np.uint32)


def _move(made: Tables, state: tuple[int, int, int], level: int, stuffing: int) -> tuple[tuple[int, int, int], int]:
    """Return the state after a wire bit, and what happens at it."""
    node, last, run = state
    if made.run and run == made.run and made.owed[node, level]:
        fault = stuffing + 1 if level == last else 0
        return (node, level, 1), fault << CHECK_SHIFT
    longer = run + 1 if level == last and run else 1
    run = min(longer, made.run) if made.stuffed[node, level] else 0
    what = CRC_TAKES * int(made.feeds[node, level]) | CRC_SPEAKS * int(made.verdict[node, level])
    fault = int(made.fault[node, level])
    if fault >= 0:
        what |= fault + 1 << CHECK_SHIFT
    return (int(made.target[node, level]), level if run else 0, run), what
