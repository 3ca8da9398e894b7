"""What was asked so far and what was wrong with it, by kind of failure."""

from dataclasses import dataclass, field
from typing import Any

from framesim.challenge.case import Case
from framesim.challenge.endpoint import Reply
from framesim.challenge.expected import Expected
from framesim.challenge.protocol import Trouble
from framesim.challenge.symptom import symptom

__all__ = ["Kind", "Ledger", "rule_broken", "shown"]

_KEPT = 400  # cases kept of each kind
_KEPT_RIGHT = 1_600  # frames as sent kept that were answered right


@dataclass(slots=True, kw_only=True)
class Kind:
    """One kind of failure.

    Attributes:
        count: cases that failed so.
        cases: some of them, the most telling first.
        plain: one of them is a frame as its sender puts it out.
        costly: asking again kills the command or waits for a time-out.
        simple: the simplest known, once there is one.
        got: what was answered to it.
    """

    count: int = 0
    cases: list[Case] = field(default_factory=list)
    plain: bool = False
    costly: bool = False
    simple: Case | None = None
    got: Any = None


class Ledger:
    """The books of one challenge.

    Attributes:
        asked: cases answered or failed.
        kinds: rule broken → kind of failure.
        right: frames as sent that were answered right.
    """

    def __init__(self) -> None:
        self.asked = 0
        self.kinds: dict[str, Kind] = {}
        self.right: list[Case] = []

    def note(self, case: Case, want: Expected, reply: Reply) -> None:
        """Book one answer."""
        self.asked += 1
        rule = rule_broken(case, want, reply)
        if rule is None:
            if len(self.right) < _KEPT_RIGHT and case.plain:
                self.right.append(case)
            return
        kind = self.kinds.setdefault(rule, Kind())
        kind.count += 1
        kind.costly |= isinstance(reply, Trouble) and reply.costly
        first_plain = case.plain and not kind.plain
        if kind.got is None or first_plain:
            kind.got = shown(reply)
        if first_plain:
            kind.plain = True
            kind.cases.insert(0, case)
        elif len(kind.cases) < _KEPT:
            kind.cases.append(case)

    def ranked(self) -> list[tuple[str, Kind]]:
        """Return the kinds of failure: those on undisturbed frames first, then the frequent ones."""
        return sorted(self.kinds.items(), key=lambda item: (not item[1].plain, -item[1].count, item[0]))


def rule_broken(case: Case, want: Expected, reply: Reply) -> str | None:
    """Return which rule a reply breaks, in words; None if it is right."""
    return reply.words if isinstance(reply, Trouble) else symptom(case, want, reply)


def shown(reply: Reply) -> Any:
    """Return a reply as a report shows it."""
    if isinstance(reply, Trouble):
        return f"{reply.words}: {reply.detail}" if reply.detail else reply.words
    return {key: value for key, value in reply.items() if key != "case"}
