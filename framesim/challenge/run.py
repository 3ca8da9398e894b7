"""The challenge: ask, compare, group what differs, make each kind of failure simple, say what it has in common."""

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

from framesim.challenge.case import Case
from framesim.challenge.endpoint import Endpoint, Reply, Stopped
from framesim.challenge.expected import Expected, expected, expected_of_many
from framesim.challenge.explain import common_ground
from framesim.challenge.guess import find_case
from framesim.challenge.protocol import Trouble
from framesim.challenge.report import Finding, Report
from framesim.challenge.shrink import shrink
from framesim.challenge.streams import cases as stream
from framesim.challenge.streams import modes_of
from framesim.challenge.symptom import symptom

__all__ = ["Watch", "run_challenge"]

Watch = Callable[[float, str], None]

_BATCH = 4096
_SHRUNK = 8  # kinds of failure that are made simple; of further ones the first case stands as it is
_ATTEMPTS = 300
_COSTLY_ATTEMPTS = 12  # where a failure kills the command or waits for a time-out
_KEPT = 400  # cases kept of each kind, and of those answered right
_GUESSES = 400  # examples that hypothesis may draw, at most


@dataclass(slots=True, kw_only=True)
class _Kind:
    """One kind of failure while the challenge runs."""

    count: int = 0
    cases: list[Case] = field(default_factory=list)
    plain: bool = False
    costly: bool = False
    simple: Case | None = None
    got: Any = None


class _Ledger:
    """What was asked and what was wrong with it."""

    def __init__(self) -> None:
        self.asked = 0
        self.kinds: dict[str, _Kind] = {}
        self.right: list[Case] = []

    def note(self, case: Case, rule: str | None, reply: Reply, *, costly: bool) -> None:
        """Book one answer."""
        self.asked += 1
        if rule is None:
            if len(self.right) < _KEPT * 4 and case.plain:
                self.right.append(case)
            return
        kind = self.kinds.setdefault(rule, _Kind())
        kind.count += 1
        kind.costly |= costly
        if kind.got is None or (case.plain and not kind.plain):
            kind.got = _shown(reply)
        if case.plain and not kind.plain:
            kind.plain = True
            kind.cases.insert(0, case)
        elif len(kind.cases) < _KEPT:
            kind.cases.append(case)


def run_challenge(
    endpoint: Endpoint, *, network: str, mode: str, cases: int, seed: int, watch: Watch | None = None
) -> Report:
    """Challenge whoever answers at ``endpoint``, and stop it afterwards.

    Raises:
        BadArgument: an argument out of range.
        KeyboardInterrupt: never: what is known by then is reported.
    """
    ledger, stopped = _Ledger(), ""
    troubles: list[Trouble] = []
    try:
        guesses = min(_GUESSES, cases // 10)
        listed = stream(network, mode=mode, seed=seed, count=cases - guesses)
        try:
            _ask_all(endpoint, ledger, listed, cases, watch)
            for each in modes_of(mode):
                _guess(endpoint, ledger, network, each, seed=seed, examples=max(1, guesses // len(modes_of(mode))))
            _shrink_all(endpoint, ledger, watch)
            troubles = endpoint.finish()
        except Stopped as stop:
            stopped = stop.reason
        except KeyboardInterrupt:
            stopped = "interrupted"
        findings = _findings(ledger, troubles)
    finally:
        endpoint.close()
    return Report(network=network, mode=mode, seed=seed, asked=ledger.asked, findings=findings, stopped=stopped)


def _ask_all(endpoint: Endpoint, ledger: _Ledger, listed: Iterator[Case], total: int, watch: Watch | None) -> None:
    while batch := list(islice(listed, _BATCH)):
        wants = expected_of_many(batch)
        try:
            replies = endpoint.ask(batch)
        except Stopped as stop:
            _book(ledger, batch, wants, stop.replies)
            raise
        _book(ledger, batch, wants, replies)
        if watch is not None:
            watch(min(1.0, ledger.asked / total), "asking")


def _book(ledger: _Ledger, batch: list[Case], wants: list[Expected], replies: list[Reply]) -> None:
    for case, want, reply in zip(batch, wants, replies, strict=False):
        rule, costly = _rule(case, want, reply)
        ledger.note(case, rule, reply, costly=costly)


def _rule(case: Case, want: Expected, reply: Reply) -> tuple[str | None, bool]:
    """Return which rule a reply breaks, if any, and whether asking again is costly."""
    if isinstance(reply, Trouble):
        return reply.words, reply.words in ("hangs", "crashes") or "before it has answered" in reply.words
    return symptom(case, want, reply), False


def _guess(endpoint: Endpoint, ledger: _Ledger, network: str, mode: str, *, seed: int, examples: int) -> None:
    """Let hypothesis look for kinds of failure not seen yet, one after the other."""
    for turn in range(_SHRUNK):
        pinned: list[str] = []
        got: list[Any] = []
        known = set(ledger.kinds)

        def fails_anew(case: Case, pinned: list[str] = pinned, known: set[str] = known, got: list[Any] = got) -> bool:
            reply = endpoint.ask([case])[0]
            rule, costly = _rule(case, expected(case), reply)
            if not pinned:
                ledger.asked += 1
            if rule is None or rule in known or costly:
                return False
            if not pinned:
                pinned.append(rule)
            if rule == pinned[0]:
                got.append(_shown(reply))
            return rule == pinned[0]

        found = find_case(network, mode, fails_anew, seed=seed + turn, examples=examples)
        if found is None or not pinned:
            return
        ledger.kinds[pinned[0]] = _Kind(count=1, cases=[found], plain=found.plain, simple=found, got=got[-1])
        examples = max(1, examples // 2)


def _shrink_all(endpoint: Endpoint, ledger: _Ledger, watch: Watch | None) -> None:
    for place, (rule, kind) in enumerate(_ranked(ledger)[:_SHRUNK]):
        if watch is not None:
            watch(place / _SHRUNK, "making simple")

        def fails(case: Case, rule: str = rule, kind: _Kind = kind) -> bool:
            reply = endpoint.ask([case])[0]
            same = _rule(case, expected(case), reply)[0] == rule
            if same:
                kind.simple, kind.got = case, _shown(reply)
            return same

        with suppress(Stopped):  # what is simple by then has been kept
            shrink(kind.simple or kind.cases[0], fails, attempts=_COSTLY_ATTEMPTS if kind.costly else _ATTEMPTS)


def _ranked(ledger: _Ledger) -> list[tuple[str, _Kind]]:
    """Return the kinds of failure: those on undisturbed frames first, then the frequent ones."""
    return sorted(ledger.kinds.items(), key=lambda item: (not item[1].plain, -item[1].count, item[0]))


def _findings(ledger: _Ledger, troubles: list[Trouble]) -> tuple[Finding, ...]:
    found = []
    for rule, kind in _ranked(ledger):
        case = kind.simple or kind.cases[0]
        found.append(
            Finding(
                rule=rule,
                where=common_ground([case for case in kind.cases if case.plain], ledger.right) if kind.plain else "",
                count=kind.count,
                case=case,
                want=expected(case),
                got=kind.got,
                origin=kind.cases[0].origin,
            )
        )
    return (*found, *(Finding(rule=trouble.words, got=trouble.detail or None) for trouble in troubles))


def _shown(reply: Reply) -> Any:
    if isinstance(reply, Trouble):
        return f"{reply.words}: {reply.detail}" if reply.detail else reply.words
    return {key: value for key, value in reply.items() if key != "case"}
