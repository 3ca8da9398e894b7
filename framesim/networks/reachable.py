"""Which field can follow which: a walk through a layout with every value that its conditions look at.

``Layout.successors`` looks at one condition at a time and so also lists pairs that no frame holds, as where two
conditions exclude each other and a third covers both. Here the conditions are asked along whole paths. A field's
value is chosen only when a condition looks at it, and stays chosen for the rest of the path.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from framesim.networks.layout import Field, Layout

__all__ = ["reachable"]

WIDEST = 11  # bits of the widest field whose every value is tried: the length of a CAN XL frame


def reachable(layout: Layout) -> tuple[frozenset[int], ...]:
    """Return, for each row up to the accepting one, the rows that follow it in some frame.

    Where a condition looks at a field whose values are too many to try, or not told by its width, both answers are
    taken to be possible: a pair may be listed that no frame holds, but none is ever missing.
    """
    follows: list[set[int]] = [set() for _ in range(layout.accept_index + 1)]
    start = (0, frozenset[str](), frozenset[tuple[str, int]]())
    seen, todo = {start}, [start]
    while todo:
        index, passed, chosen = todo.pop()
        if index == layout.accept_index:
            continue
        over = passed | {layout.fields[index].name}
        for row, values in _next(layout, index, over, dict(chosen)):
            follows[index].add(row)
            place = (row, over, frozenset(values.items()))
            if place not in seen:
                seen.add(place)
                todo.append(place)
    return tuple(frozenset(rows) for rows in follows)


def _next(
    layout: Layout, index: int, over: frozenset[str], chosen: dict[str, int]
) -> Iterator[tuple[int, dict[str, int]]]:
    """Yield the rows that may follow ``index``, each with the values that lead there."""
    values = _Values(over, chosen)
    for successor in layout.successors[index]:
        try:
            holds = successor.condition is None or successor.condition.holds(values)
        except _Asked as asked:
            field = layout.fields[layout.place[asked.name]]
            if _can_be_tried(field):
                for value in range(1 << field.width_given({})):
                    yield from _next(layout, index, over, {**chosen, field.name: value})
                return
            yield successor.row, chosen
            continue
        if holds:
            yield successor.row, chosen
            return


def _can_be_tried(field: Field) -> bool:
    """Tell whether the field holds a number of few enough bits, known beforehand."""
    plain = not (field.elastic or field.octets or field.nibbles)
    return plain and isinstance(field.width, int) and 0 <= field.width <= WIDEST


class _Asked(Exception):
    """A condition looked at a field whose value is not chosen yet."""

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.name = name


class _Values(Mapping[str, Any]):
    """The values read so far, as a condition sees them."""

    def __init__(self, over: frozenset[str], chosen: Mapping[str, int]) -> None:
        self._over = over
        self._chosen = chosen

    def __getitem__(self, name: str) -> int:
        if name in self._chosen:
            return self._chosen[name]
        if name in self._over:
            raise _Asked(name)
        raise KeyError(name)

    def __iter__(self) -> Iterator[str]:
        return iter(self._over)

    def __len__(self) -> int:
        return len(self._over)
