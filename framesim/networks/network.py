"""A network: its frame type, its layout, and how read values become a frame again."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from framesim.networks.layout import Layout
from framesim.networks.transitions import Row, transitions

__all__ = ["Network"]


@dataclass(frozen=True, kw_only=True)
class Network:
    """Everything the engine needs to know about a network.

    Attributes:
        name: as users type it.
        title: the name in running text.
        standard: the standards that define it.
        frame_type: the frozen dataclass of its frames.
        layout: the declaration of its format.
        assemble: turns the values read, by field name, into a frame; must not fail on any accepted reading.
        monitors: the sender reads back its own bits.
        unmonitored: span names that it does not hold against itself.
        acknowledged_in: span names in which it waits for the level that others drive.
        ends_with_wire: a frame ends when the wire does, not when a field says so.
        provisional: why the format is not certain; empty if it is.
        rest_bits: how long a resting wire can take to bring a receiver to its conclusion, where that is known to be
            short; None: not known.
        configured_for: the network as the receivers of a given frame are configured, where something that is
            not on the wire (a channel, a segment of the cycle) differs by frame; None: it never does.
    """

    name: str
    title: str
    standard: str
    frame_type: type
    layout: Layout
    assemble: Callable[[Mapping[str, Any]], Any]
    monitors: bool = False
    unmonitored: frozenset[str] = frozenset()
    acknowledged_in: frozenset[str] = frozenset()
    ends_with_wire: bool = False
    provisional: str = ""
    rest_bits: int | None = None
    configured_for: "Callable[[Any], Network] | None" = None

    def __hash__(self) -> int:
        """Return the hash of the name: caches are keyed by networks, and a layout is long to go through."""
        return hash(self.name)

    @cached_property
    def transitions(self) -> dict[str, dict[str, str]]:
        """State → event → state of the receiver, derived from the layout."""
        return transitions(self.layout)

    @property
    def rows(self) -> tuple[Row, ...]:
        """The transition table as rows, for diagrams."""
        return tuple(
            Row(state, event, target) for state, row in self.transitions.items() for event, target in row.items()
        )
