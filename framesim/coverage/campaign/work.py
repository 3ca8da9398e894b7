"""What a campaign computes: units, each a function of the work, the seed and its number alone."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from framesim.errors import BadArgument

__all__ = ["UnitResult", "Work", "added"]

#: counts with this name, or this last part of it, are merged by the greatest; all others by the sum
LARGEST = "largest"


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitResult:
    """What one unit found.

    Attributes:
        counts: what was counted. Of a work with several columns, the names begin with the column and a point. Known
            names: frames, disturbed, flips, delivered, detected, undetected, unseen, ``first.<check>``,
            ``alone.<check>``; a work may add its own. They add up over units, save for ``largest``.
        cases: undetected frames one by one, ready for JSON; a work limits how many a unit lists.
    """

    counts: Mapping[str, int]
    cases: Sequence[Mapping[str, Any]] = field(default_factory=tuple)

    def __post_init__(self) -> None:
        for name, count in self.counts.items():
            if not isinstance(count, int) or isinstance(count, bool) or count < 0:
                raise BadArgument(f"counts[{name!r}]={count!r}: expected a whole number, at least 0")


class Work(Protocol):
    """What is computed in units. Must be picklable, and its class importable where units are computed.

    A compiled sampler becomes a campaign by offering these six; see ``works.py``, where a work is chosen.
    """

    @property
    def title(self) -> str:
        """One line on what is done, for people."""

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader must know before quoting a figure."""

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the cases that are counted apart; ``("",)`` if there is one."""

    @property
    def frames_per_unit(self) -> int:
        """How many frames a unit sends in each column."""

    def describe(self) -> dict[str, Any]:
        """Return everything that a unit depends on beside seed and number, ready for JSON; its hash is the identity."""

    def unit(self, seed: int, number: int) -> UnitResult:
        """Compute a unit: the same result whenever, wherever and in whatever order it is called.

        Args:
            seed: 0..2**63 - 1.
            number: of the unit, from 0.
        """


def added(one: Mapping[str, int], other: Mapping[str, int]) -> dict[str, int]:
    """Return the counts of two sets of units together."""
    sums = dict(one)
    for name, count in other.items():
        before = sums.get(name, 0)
        sums[name] = max(before, count) if name.rpartition(".")[2] == LARGEST else before + count
    return sums
