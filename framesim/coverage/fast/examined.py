"""Where in a frame its codes speak, and what a receiver must carry along until then."""

from collections.abc import Mapping

import numpy as np

from framesim.coverage.fast.differences import Added, Bits, Differences
from framesim.coverage.fast.steady import Steering
from framesim.errors import NotFeasible
from framesim.kernels import walked_moves as walked
from framesim.networks.automaton import CHECKS
from framesim.networks.layout import Field

__all__ = ["Examiner", "spoken_after"]

ROOM = 64  # bits of differences a receiver carries along


def spoken_after(field: Field) -> str:
    """Return the field at whose end a code speaks."""
    assert field.guard is not None
    return field.guard.spoken_after or field.name


class Examiner:
    """Finds the tests at the ends of fields, and room for the differences they ask for."""

    def __init__(
        self, rows: tuple[Field, ...], bits: Bits, first: Mapping[str, int], n_read: int,
        guards: Mapping[str, Differences | Added], steering: Steering | None,
    ) -> None:  # fmt: skip
        self.add_bits = np.zeros(n_read, np.uint64)
        self.add_numbers = np.zeros((n_read, 2), np.int64)
        self.allowed = np.ones(1, np.bool_)
        self.tests: list[tuple[int, int, int, int]] = []
        self.test_of = [(0, 0)]
        self._events: dict[tuple[int, ...], int] = {(): 0}
        self._at_end: dict[str, list[tuple[int, int, int, int]]] = {}
        self._used, self._sums = 0, 0
        self._first, self._bits = first, bits
        for field in rows:
            if field.name in guards:
                self._add_guard(field, guards[field.name])
        if steering is not None:
            self._add_steering(next(field for field in rows if field.name == steering.name), steering)

    def event_of(self, ended: tuple[str, ...]) -> int:
        """Return the number of what happens when fields end; 0: nothing."""
        due = [test for name in ended for test in self._at_end.get(name, ())]
        key = tuple(part for test in due for part in test)
        if key not in self._events:
            self._events[key] = len(self.test_of)
            self.test_of.append((len(self.tests), len(self.tests) + len(due)))
            self.tests += due
        return self._events[key]

    def _add_guard(self, field: Field, made: Differences | Added) -> None:
        assert field.guard is not None
        check, own = CHECKS.index(field.guard.check), len(self._bits[field.name])
        shifts = range(own) if field.lsb_first else range(own - 1, -1, -1)
        if isinstance(made, Added):
            self._sums += 1
            if self._sums > 1:
                raise NotFeasible("walked: several sums")
            for (name, place), value in made.of_bit.items():
                self.add_numbers[self._first[name] + place, 0] = value
            for place, shift in enumerate(shifts):
                self.add_numbers[self._first[field.name] + place, 1] = 1 << shift
            test = (walked.SUM, check, (1 << own) - 1, 0)
        else:
            up = self._room(own)
            for (name, place), value in made.of_bit.items():
                self.add_bits[self._first[name] + place] ^= np.uint64(value << up)
            for place, shift in enumerate(shifts):
                self.add_bits[self._first[field.name] + place] ^= np.uint64(1 << shift + up)
            test = (walked.XOR, check, own, up)
        self._at_end.setdefault(spoken_after(field), []).append(test)

    def _add_steering(self, field: Field, steering: Steering) -> None:
        own = len(self._bits[field.name])
        up = self._room(own)
        sent = self._bits[field.name]
        value = int((sent[::-1] if field.lsb_first else sent).to01(), 2)
        for place, shift in enumerate(range(own) if field.lsb_first else range(own - 1, -1, -1)):
            self.add_bits[self._first[field.name] + place] ^= np.uint64(1 << shift + up)
        self.allowed = np.array([steering.allowed[value ^ other] for other in range(1 << own)])
        self._at_end.setdefault(steering.asked_after, []).append((walked.VALUES, 0, own, up))

    def _room(self, width: int) -> int:
        up, self._used = self._used, self._used + width
        if self._used > ROOM:
            raise NotFeasible(f"walked: differences of more than {ROOM} bits")
        return up
