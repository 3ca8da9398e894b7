"""The frames of a scenario's links, kept from unit to unit: they are encoded once a worker, not once a unit."""

import threading
from collections.abc import Mapping
from typing import Any

from framesim.coverage.lines import Line, lines_of
from framesim.coverage.scenario import Scenario
from framesim.coverage.traffic import Traffic

__all__ = ["lines_kept"]

#: Each thread has its own, since frames are written down as they are asked for.
_OWN = threading.local()


def lines_kept(scenario: Scenario) -> tuple[Traffic, Mapping[str, Line]]:
    """Return a scenario's traffic and, under an engine, its links; those of the call before if they are the same."""
    # All that frames and their instants depend on; severity and receivers are not among it.
    key: Any = (
        scenario.seed, scenario.signal, scenario.sender, scenario.link, tuple(scenario.links.items()),
        scenario.by_engine,
    )  # fmt: skip
    kept: Any = getattr(_OWN, "kept", None)
    if kept is None or kept[0] != key:
        traffic = Traffic(scenario)
        kept = key, (traffic, lines_of(scenario, traffic) if scenario.by_engine else {})
        _OWN.kept = kept
    found: tuple[Traffic, Mapping[str, Line]] = kept[1]
    return found
