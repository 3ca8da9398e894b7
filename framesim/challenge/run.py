"""The challenge: ask, compare, group what differs, make each kind of failure simple, say what it has in common."""

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from itertools import islice
from typing import Any

from framesim.challenge.case import Case, decode_case
from framesim.challenge.endpoint import Endpoint, Interrupted, Stopped
from framesim.challenge.expected import expected, expected_of_many
from framesim.challenge.explain import common_ground, said_by
from framesim.challenge.guess import find_case
from framesim.challenge.ledger import Kind, Ledger, rule_broken, shown
from framesim.challenge.protocol import Trouble
from framesim.challenge.report import Finding, Report
from framesim.challenge.shrink import shrink
from framesim.challenge.streams import cases as stream
from framesim.challenge.streams import modes_of
from framesim.challenge.symptom import TOLERANCE

__all__ = ["Watch", "run_challenge"]

Watch = Callable[[float, str], None]

_FIRST_BATCH, _BATCH = 512, 8192  # few at first, so that there is something to show soon
_SIMPLE = 8  # kinds of failure that are made simple; of further ones the first case stands as it is
_ATTEMPTS = 300
_COSTLY_ATTEMPTS = 12  # where a failure kills the command or waits for a time-out
_GUESSES = 400  # examples that hypothesis may draw, at most


def run_challenge(
    endpoint: Endpoint, *, network: str, mode: str, cases: int, seed: int, watch: Watch | None = None
) -> Report:
    """Challenge whoever answers at ``endpoint``, and stop it afterwards.

    An interruption from the keyboard ends it; what is known by then is reported.

    Raises:
        BadArgument: an argument out of range.
    """
    ledger, stopped = Ledger(), ""
    try:
        guesses = min(_GUESSES, cases // 10)
        modes = modes_of(mode)
        listed = stream(network, mode=mode, seed=seed, count=cases)
        try:
            _ask_all(endpoint, ledger, islice(listed, cases - guesses), cases, watch)
            for each in modes:
                _guess(endpoint, ledger, network, each, seed=seed, examples=guesses // len(modes))
            # hypothesis draws some cases twice and asks them once; the stream makes up the number
            _ask_all(endpoint, ledger, islice(listed, max(0, cases - ledger.asked)), cases, watch)
            _make_simple(endpoint, ledger, watch)
        except Stopped as stop:
            stopped = stop.reason
        except KeyboardInterrupt:
            stopped = "interrupted"
        findings = _findings(ledger, endpoint.finish())
    finally:
        endpoint.close()
    return Report(network=network, mode=mode, seed=seed, asked=ledger.asked, findings=findings, stopped=stopped)


def _ask_all(endpoint: Endpoint, ledger: Ledger, listed: Iterator[Case], total: int, watch: Watch | None) -> None:
    size = _FIRST_BATCH
    while batch := list(islice(listed, size)):
        wants = expected_of_many(batch)
        size = min(2 * size, _BATCH)
        stop: Stopped | Interrupted | None = None
        try:
            replies = endpoint.ask(batch)
        except (Stopped, Interrupted) as stopped:
            stop, replies = stopped, stopped.replies
        for case, want, reply in zip(batch, wants, replies, strict=False):
            ledger.note(case, want, reply)
        if stop is not None:
            raise stop
        if watch is not None:
            watch(min(1.0, ledger.asked / total), "asking")


class _Hunt:
    """Tells hypothesis whether a case fails in a way that the ledger does not know; the first such way is pinned."""

    def __init__(self, endpoint: Endpoint, ledger: Ledger) -> None:
        self._endpoint = endpoint
        self._ledger = ledger
        self.rule: str | None = None
        self.got: Any = None
        self.stop: Stopped | None = None
        self._told: dict[str, bool] = {}  # a codec that answers the same case in two ways must not confuse hypothesis

    def __call__(self, case: Case) -> bool:
        key = case.bits if case.mode == "decode" else repr(case.frame)
        if key not in self._told:
            self._told[key] = self._fails(case)
        return self._told[key]

    def _fails(self, case: Case) -> bool:
        if self.stop is not None:
            return False
        try:
            reply = self._endpoint.ask([case])[0]
        except Stopped as stop:  # hypothesis must not see it: it would take it for a failure of its test
            self.stop = stop
            return False
        rule = rule_broken(case, expected(case), reply)
        known = None if rule is None else self._ledger.kinds.get(rule)
        if self.rule is None:  # what is asked after that is part of making it simple
            self._ledger.asked += 1
            if known is not None:
                known.count += 1
        if rule is None or known is not None or rule != (self.rule or rule):
            return False
        self.rule, self.got = rule, shown(reply)
        return True


def _guess(endpoint: Endpoint, ledger: Ledger, network: str, mode: str, *, seed: int, examples: int) -> None:
    """Let hypothesis look for kinds of failure not seen yet, one after the other."""
    until = ledger.asked + examples
    for turn in range(_SIMPLE):
        examples = until - ledger.asked
        if examples < 1 or any(kind.costly for kind in ledger.kinds.values()):
            return
        hunt = _Hunt(endpoint, ledger)
        found = find_case(network, mode, hunt, seed=seed + turn, examples=examples)
        if hunt.stop is not None:
            raise hunt.stop
        if found is None or hunt.rule is None:
            return
        ledger.kinds[hunt.rule] = Kind(count=1, cases=[found], plain=found.plain, simple=found, got=hunt.got)


def _make_simple(endpoint: Endpoint, ledger: Ledger, watch: Watch | None) -> None:
    for place, (rule, kind) in enumerate(ledger.ranked()[:_SIMPLE]):
        if watch is not None:
            watch(place / _SIMPLE, "making simple")

        def fails(case: Case, rule: str = rule, kind: Kind = kind) -> bool:
            reply = endpoint.ask([case])[0]
            same = rule_broken(case, expected(case), reply) == rule
            if same:
                kind.simple, kind.got = case, shown(reply)
            return same

        with suppress(Stopped):  # what is simple by then has been kept
            shrink(kind.simple or kind.cases[0], fails, attempts=_COSTLY_ATTEMPTS if kind.costly else _ATTEMPTS)
    with suppress(Stopped):
        for rule in [rule for rule in ledger.kinds if rule.endswith(TOLERANCE)]:
            _acquit(endpoint, ledger, rule)


def _acquit(endpoint: Endpoint, ledger: Ledger, rule: str) -> None:
    """Book a refusal that was put down to a tolerated bit elsewhere, if the frame is refused without that bit too."""
    kind = ledger.kinds[rule]
    case = kind.simple or kind.cases[0]
    if case.recipe is None:
        return
    plain = decode_case(case.network, replace(case.recipe, flips=()), origin=case.origin)
    other = rule_broken(plain, expected(plain), endpoint.ask([plain])[0])
    if other is not None and other in ledger.kinds:
        ledger.kinds[other].count += kind.count
        del ledger.kinds[rule]


def _findings(ledger: Ledger, troubles: list[Trouble]) -> tuple[Finding, ...]:
    found = []
    for rule, kind in ledger.ranked():
        case = kind.simple or kind.cases[0]
        where = common_ground([each for each in kind.cases if each.plain], ledger.right) if kind.plain else ""
        if said_by(rule, where):
            where = ""
        found.append(
            Finding(
                rule=rule,
                where=where,
                count=kind.count,
                case=case,
                want=expected(case),
                got=kind.got,
                origin=kind.cases[0].origin,
            )
        )
    return (*found, *(Finding(rule=trouble.words, got=trouble.detail or None) for trouble in troubles))
