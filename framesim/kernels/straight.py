"""Straight-line code over bit planes: expressions of and, or, exclusive or and not, folded and shared as they are made.

A plane is a word of 64 receivers, one bit each. Names of planes and the constants ``0`` and ``1`` (no receiver, every
receiver) are strings; each operation writes one line and returns the name of its result.
"""

from collections.abc import Sequence

__all__ = ["ONE", "ZERO", "Straight"]

ZERO, ONE = "0", "1"


class Straight:
    """Collects the lines of one loop body.

    Every name is given once in a program, or the compiler spends most of its time telling the uses of a name apart.

    Attributes:
        prefix: of all names.
        lines: the code so far, one assignment a line.
    """

    def __init__(self, prefix: str) -> None:
        self.prefix = prefix
        self.lines: list[str] = []
        self._known: dict[tuple[str, str, str], str] = {}
        self._negated: dict[str, str] = {ZERO: ONE, ONE: ZERO}

    def take(self, text: str, name: str) -> str:
        """Load ``text`` under ``name`` and the prefix."""
        name = f"{self.prefix}{name}"
        self.lines.append(f"{name} = {text}")
        return name

    def _line(self, operator: str, one: str, other: str) -> str:
        one, other = sorted((one, other))
        key = (operator, one, other)
        if key not in self._known:
            self._known[key] = f"{self.prefix}v{len(self._known)}"
            self.lines.append(f"{self._known[key]} = {one} {operator} {other}")
        return self._known[key]

    def not_(self, one: str) -> str:
        """Return the complement."""
        if one not in self._negated:
            name = f"{self.prefix}n{len(self._negated)}"
            self.lines.append(f"{name} = ~{one}")
            self._negated[one], self._negated[name] = name, one
        return self._negated[one]

    def and_(self, one: str, other: str) -> str:
        """Return both."""
        if ZERO in (one, other) or self._negated.get(one) == other:
            return ZERO
        if one in (ONE, other):
            return other
        return one if other == ONE else self._line("&", one, other)

    def or_(self, one: str, other: str) -> str:
        """Return either."""
        if ONE in (one, other) or self._negated.get(one) == other:
            return ONE
        if one in (ZERO, other):
            return other
        return one if other == ZERO else self._line("|", one, other)

    def xor(self, one: str, other: str) -> str:
        """Return where they differ."""
        if one == other:
            return ZERO
        if one in (ZERO, ONE):
            one, other = other, one
        if other == ZERO:
            return one
        return self.not_(one) if other == ONE else self._line("^", one, other)

    def but(self, one: str, other: str) -> str:
        """Return ``one`` where not ``other``."""
        return self.and_(one, self.not_(other)) if other in (ZERO, ONE) or one in (ZERO, ONE) else self._but(one, other)

    def _but(self, one: str, other: str) -> str:
        if one == other:
            return ZERO
        key = ("&~", one, other)
        if key not in self._known:
            self._known[key] = f"{self.prefix}v{len(self._known)}"
            self.lines.append(f"{self._known[key]} = {one} & ~{other}")
        return self._known[key]

    def choose(self, chooser: str, if_set: str, if_not: str) -> str:
        """Return ``if_set`` where ``chooser`` is set, else ``if_not``."""
        if chooser == ONE or if_set == if_not:
            return if_set
        if chooser == ZERO:
            return if_not
        if if_not == ZERO:
            return self.and_(if_set, chooser)
        if if_set == ZERO:
            return self.but(if_not, chooser)
        return self.xor(if_not, self.and_(self.xor(if_set, if_not), chooser))

    def any_of(self, planes: Sequence[str]) -> str:
        """Return where at least one is set."""
        found = ZERO
        for plane in planes:
            found = self.or_(found, plane)
        return found

    def table(self, inputs: Sequence[str], values: Sequence[int]) -> str:
        """Return a function of some planes, given its truth table.

        Args:
            inputs: planes, the first the most significant.
            values: 0 or 1 for each of the ``2 ** len(inputs)`` combinations.
        """
        if len(set(values)) == 1:
            return ONE if values[0] else ZERO
        half = len(values) // 2
        return self.choose(inputs[0], self.table(inputs[1:], values[half:]), self.table(inputs[1:], values[:half]))

    def add(self, one: Sequence[str], other: Sequence[str], carry: str = ZERO) -> list[str]:
        """Return the sum of two numbers, least significant plane first, as wide as the first."""
        total = []
        for place, plane in enumerate(one):
            more = other[place] if place < len(other) else ZERO
            either = self.xor(plane, more)
            total.append(self.xor(either, carry))
            carry = self.or_(self.and_(plane, more), self.and_(either, carry))
        return total
