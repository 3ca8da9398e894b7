"""The receiver's transition table, derived from a layout.

States are the fields, plus hunting, accepted, rejected and, where some field can bring it about, abandoned.
Every move of the receiver is a row here; a missing row is a mistake in framesim, and the look-up fails. A field
follows another here only where it does in some frame.
"""

from typing import NamedTuple

from framesim.networks.layout import UNTOLD, Layout
from framesim.networks.reachable import reachable
from framesim.words import Check

__all__ = [
    "ABANDONED", "ACCEPTED", "END", "HUNTING", "LOST", "REJECTED", "START", "UNKNOWN", "Row", "end_event",
    "mermaid", "transitions",
]  # fmt: skip

HUNTING = "hunting"
ACCEPTED = "accepted"
REJECTED = "rejected"
ABANDONED = "abandoned"
START = "start"
LOST = "no start"
UNKNOWN = "unknown format"
END = "end"


class Row(NamedTuple):
    """One move."""

    state: str
    event: str
    target: str


def end_event(condition_name: str | None) -> str:
    """Return the name of the event 'the field is over', given which condition decides what follows."""
    return END if condition_name is None else f"{END}, {condition_name}"


def transitions(layout: Layout) -> dict[str, dict[str, str]]:
    """Return state → event → state for the receiver of ``layout``."""
    table: dict[str, dict[str, str]] = {HUNTING: {START: layout.fields[0].name}}
    follows = reachable(layout)
    for index in range(layout.accept_index + 1):
        field = layout.fields[index]
        row = table.setdefault(field.name, {})
        if index == 0 and field.elastic and getattr(field.coding, "restarts", True):
            row[LOST] = HUNTING
        if index == layout.accept_index:
            row[END] = ACCEPTED
        else:
            for successor in layout.successors[index]:
                if successor.row not in follows[index]:
                    continue
                name = None if successor.condition is None else successor.condition.name
                row[end_event(name)] = layout.fields[successor.row].name
        speaking = [*field.coding.checks, *([field.check] if field.check else [])]
        for guarded in layout.guards_spoken_at.get(index, ()):
            guard = layout.fields[guarded].guard
            speaking += [guard.check] if guard else []
        speaking += [Check.LENGTH] if layout.cut_short(index) or field.width == UNTOLD else []
        rules = layout.rules_at.get(index, ())
        speaking += [rule.check for rule in rules if rule.check is not None]
        speaking += [limit.check for limit in layout.limits_in[index]]
        for check in speaking:
            row[check.value] = REJECTED
        if field.abandons or any(rule.check is None for rule in rules):
            row[UNKNOWN] = ABANDONED
    table[ACCEPTED] = {}
    table[REJECTED] = {}
    if any(UNKNOWN in row for row in table.values()):
        table[ABANDONED] = {}
    return table


def mermaid(table: dict[str, dict[str, str]]) -> str:
    """Return the table as a state diagram in Mermaid text."""
    ids = {state: f"s{number}" for number, state in enumerate(table)}
    lines = ["stateDiagram-v2"]
    lines += [f'    state "{state}" as {ids[state]}' for state in table]
    lines.append(f"    [*] --> {ids[HUNTING]}")
    for state, row in table.items():
        lines += [f"    {ids[state]} --> {ids[target]}: {event}" for event, target in row.items()]
    return "\n".join(lines)
