"""Run a campaign: give out the units that are missing, keep what comes back, stop when the units in order suffice."""

import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from dataclasses import dataclass
from itertools import count

from framesim.coverage.campaign.identity import Campaign, campaign_of
from framesim.coverage.campaign.result import CampaignResult
from framesim.coverage.campaign.rules import Rules
from framesim.coverage.campaign.scheduler import InProcess, Scheduler, Task
from framesim.coverage.campaign.store import Store
from framesim.coverage.campaign.totals import Totals
from framesim.coverage.campaign.work import UnitResult, Work

__all__ = ["Standing", "run_campaign"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How a running campaign stands.

    Attributes:
        totals: of the units in order so far; do not change it.
        frames_per_s: sent by this run, on the clock.
        share: how far along, 0..1, roughly.
        confidence: that the rules ask for.
        left_s: seconds left, roughly; None while nothing tells.
    """

    totals: Totals
    frames_per_s: float
    share: float
    confidence: float
    left_s: float | None


def run_campaign(
    work: Work,
    *,
    seed: int,
    rules: Rules,
    into: str | None = None,
    first_unit: int = 0,
    scheduler: Scheduler | None = None,
    progress: Callable[[Standing], None] | None = None,
) -> CampaignResult:
    """Run a campaign, or go on with one.

    The result counts units in order from the first, up to the one at which a rule is met. It depends on work, seed,
    first unit and rules alone, unless the budget ends it: not on the scheduler, nor on how often the run was broken
    off. A ``KeyboardInterrupt`` ends the run; the result then is unfinished.

    Args:
        work: what is computed.
        seed: of every draw.
        rules: when it is enough.
        into: file that keeps finished units; if it holds this campaign already, the run goes on with it.
        first_unit: to begin with. Machines that share a campaign begin at different ones.
        scheduler: who computes; None: this process.
        progress: called after each unit.

    Raises:
        BadArgument: an argument out of range, or work that cannot be computed.
        BadInput: the file cannot be used or written, or workers cannot be had; finished units are kept.
    """
    campaign = campaign_of(work, seed)
    with ExitStack() as stack:
        store = None if into is None else stack.enter_context(Store.open(into, campaign))
        run = _Run(campaign, rules, store, first_unit)
        task = Task(work, seed, campaign.hash)
        why = run.advance()
        if why is None:
            why = _compute(run, task, scheduler or InProcess(), progress)
        if why is not None and store is not None:
            store.stop(
                {"by": why, "confidence": rules.confidence, "count": run.totals.units, "first": run.totals.first}
            )
        return CampaignResult(
            campaign=campaign,
            totals=run.totals,
            stopped_by=why,
            confidence=rules.confidence,
            aside=0 if store is None else len(store) - run.totals.units,
        )


class _Run:
    """The units in order so far, and those that came early."""

    def __init__(self, campaign: Campaign, rules: Rules, store: Store | None, first: int) -> None:
        self.rules = rules
        self.totals = Totals(columns=campaign.columns, first=first)
        self._store = store
        self._early: dict[int, UnitResult] = {}
        self._at_most = rules.units_at_most(campaign.frames_per_unit)

    def missing(self) -> Iterator[int]:
        """Yield the numbers that are still to be computed, no more than the rules can need."""
        first = self.totals.first
        numbers = count(first) if self._at_most is None else range(first, first + self._at_most)
        return (number for number in numbers if self._store is None or number not in self._store)

    def take(self, number: int, result: UnitResult) -> str | None:
        """Keep a unit; return the rule that is now met, if one is."""
        if self._store is not None:
            self._store.append(number, result)
        if self._store is None or number == self.totals.following:
            self._early[number] = result  # otherwise the file has it until its turn comes
        return self.advance()

    def advance(self) -> str | None:
        """Count units in order as far as they go, or until a rule is met."""
        while True:
            why = self.rules.met(self.totals)
            if why is not None:
                return why
            number = self.totals.following
            result = self._early.pop(number, None)
            if result is None and self._store is not None and number in self._store:
                result = self._store.unit(number)
            if result is None:
                return None
            self.totals.add(result)


def _compute(run: _Run, task: Task, scheduler: Scheduler, progress: Callable[[Standing], None] | None) -> str | None:
    """Compute units until a rule is met; return it, or None after an interruption."""
    watch = _Watch(run)
    try:
        with closing(scheduler.results(task, run.missing())) as results:
            for number, result in results:
                why = run.take(number, result)
                if progress is not None:
                    progress(watch.standing())
                if why is not None:
                    return why
                if run.rules.budget_s is not None and watch.elapsed_s >= run.rules.budget_s:
                    return "budget"
    except KeyboardInterrupt:
        return None
    return None


class _Watch:
    """Tells how a run stands, from the time it takes."""

    def __init__(self, run: _Run) -> None:
        self._run = run
        self._began = time.monotonic()
        self._frames = run.totals.frames
        self._share = run.rules.share(run.totals, 0.0)

    @property
    def elapsed_s(self) -> float:
        """Seconds since the run began."""
        return time.monotonic() - self._began

    def standing(self) -> Standing:
        """Return how the run stands now."""
        elapsed_s = max(self.elapsed_s, 1e-9)
        share = self._run.rules.share(self._run.totals, elapsed_s)
        won = share - self._share
        return Standing(
            totals=self._run.totals,
            frames_per_s=(self._run.totals.frames - self._frames) / elapsed_s,
            share=share,
            confidence=self._run.rules.confidence,
            left_s=(1 - share) * elapsed_s / won if won > 0 else None,
        )
