"""The links of a scenario, each with what it sends and when."""

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from framesim.coverage.carriers import CARRIERS
from framesim.coverage.frame_book import FrameBook
from framesim.coverage.scenario import Scenario
from framesim.coverage.slots import Slots
from framesim.coverage.traffic import Traffic
from framesim.disturbance import Ignition
from framesim.errors import BadArgument

__all__ = ["Line", "lines_of", "reach_of"]

PAYLOAD_BYTES = 8  # of the value and its companions; a network that carries less gets the first of them


class Line(NamedTuple):
    """One link of a scenario.

    Attributes:
        link: its model.
        slots: what is sent, and when.
    """

    link: Any
    slots: Slots


def lines_of(scenario: Scenario, traffic: Traffic) -> Mapping[str, Line]:
    """Return network → line, the scenario's first link first.

    Raises:
        BadArgument: a frame does not fit into a slot.
    """
    sender, every_s = scenario.sender, scenario.signal.every_s
    bounds = (sender.fewest_bits, sender.most_bits)
    book = FrameBook(sender.network, scenario.link, traffic.frame, bounds=bounds)
    lines: dict[str, Line] = {}
    lines[sender.network] = Line(scenario.link, Slots(book, scenario.link.cell_rate, every_s, traffic.shares))
    for name, link in scenario.links.items():
        book = FrameBook(name, link, _carried(name, traffic))
        longest_s = book.most / link.cell_rate
        if longest_s >= every_s:
            raise BadArgument(
                f"signal.every_s={every_s:g}: a frame of links.{name} takes up to {longest_s:.2g} s; must be more"
            )
        lines[name] = Line(link, Slots(book, link.cell_rate, every_s, traffic.shares))
    return lines


def _carried(name: str, traffic: Traffic) -> Callable[[int], Any]:
    """Return page → the frame by which a network carries the value and as many companions as fit."""
    carrier = CARRIERS[name]
    n_bytes = min(PAYLOAD_BYTES, carrier.most_bytes)
    return lambda page: carrier.frame(traffic.payload(page)[:n_bytes])


def reach_of(scenario: Scenario, engine: Ignition) -> tuple[float, float]:
    """Return how long before and after a window events matter for one of the lines: (before_s, after_s)."""
    before, after = scenario.analog.reach_s(engine)
    for link in (scenario.link, *scenario.links.values()):
        reach = link.reach_s(engine)
        early, late = reach if isinstance(reach, tuple) else (reach, 0.0)
        before = max(before, early)
        after = max(after, late + getattr(link, "delay_s", 0.0) + getattr(link, "delay_spread_s", 0.0))
    return before, after
