"""Claims that a check is the first to speak in so large a share of the frames that are caught."""

from typing import Any

from framesim.claims.claim import ClaimsFile, FirstToSpeak
from framesim.claims.costs import expect_affordable
from framesim.claims.counterexample import DECIDED_AGAIN, command_for, of_figure
from framesim.claims.finding import Figure, Finding, Meets, Verdict, narrower, of_limit
from framesim.claims.sampling import sample
from framesim.claims.subject import FrameSubject
from framesim.claims.wording import counted, percent, short
from framesim.coverage.intervals import clopper_pearson
from framesim.coverage.population import Listed
from framesim.coverage.residual_curve import residual_curve
from framesim.disturbance import Ignition
from framesim.errors import NotFeasible
from framesim.words import Check

__all__ = ["decide_share"]

SUMMED = ("can", "lin", "sent")  # networks whose sums tell the checks apart


def decide_share(name: str, subject: FrameSubject, asserts: FirstToSpeak, channel: Any, told: ClaimsFile) -> Finding:
    """Return what was found about a check's share of first words."""
    check = Check(asserts.check)
    spoken = _spoken(subject, channel, told)
    if spoken is None:
        return _drawn(name, subject, asserts, channel, told)
    caught = sum(spoken.values())
    share = spoken.get(check, 0.0) / caught
    meets = of_limit(share, share, asserts.at_least, at_least=True)
    figure = Figure(name=_name(check), low=share, best=share, high=share, limit=asserts.at_least, confidence=1.0)
    example = None
    if meets is Meets.NO:
        ratio = channel.describe().get("bit_error_ratio")
        alone = ratio is not None and len(subject.frames) == 1  # a mean is no frame's own figure
        command = f"{command_for('residual', subject.frame)} --bit-error-ratio {ratio!r}" if alone else DECIDED_AGAIN
        shares = {each.value: spoken[each] / caught for each in Check if spoken.get(each)}
        example = of_figure(command, shares=shares)
    return Finding(
        verdict=Verdict.PROVEN if meets is Meets.YES else Verdict.REFUTED,
        meets=meets,
        statement=f"{figure.name}: {share:.4f}; claimed: at least {short(asserts.at_least)}.",
        over=f"{counted(len(subject.frames), 'frame')} of {subject.network}, at one receiver disturbed alone",
        method="exact: every flip pattern summed by the first check to speak",
        figure=figure,
        counterexample=example,
    )


def _name(check: Check) -> str:
    return f"share of the caught frames in which {check.value} speaks first"


def _spoken(subject: FrameSubject, channel: Any, told: ClaimsFile) -> dict[Check, float] | None:
    """Return the probability of each first check; None where no method computes it."""
    if subject.network not in SUMMED or subject.open_payload or isinstance(channel, Ignition):
        return None
    listed = subject.frame if len(subject.frames) == 1 else Listed(frames=subject.frames)
    try:
        if subject.network != "can":  # on classic CAN the sums know the budget
            expect_affordable(subject.frames, channel, told.budget_s)
        point = residual_curve(listed, [channel], budget_s=told.budget_s).points[0]
    except NotFeasible:
        return None
    return dict(point.by_check) if sum(point.by_check.values()) > 0 else None


def _drawn(name: str, subject: FrameSubject, asserts: FirstToSpeak, channel: Any, told: ClaimsFile) -> Finding:
    check = Check(asserts.check)
    over = f"frames of {subject.network}, at one receiver disturbed alone"
    try:
        tally = sample(name, subject, channel, asserts, seed=told.seed, budget_s=told.budget_s).tally
    except NotFeasible as refusal:
        return Finding(
            verdict=Verdict.OPEN,
            meets=Meets.UNDECIDED,
            statement="not sampled.",
            over=over,
            method="none",
            needs=str(refusal),
        )
    estimate = clopper_pearson(tally.first.get(check, 0), tally.detected, confidence=told.confidence)
    figure = Figure(
        name=_name(check),
        low=estimate.low,
        best=estimate.best or None,
        high=estimate.high,
        limit=asserts.at_least,
        confidence=told.confidence,
    )
    meets = of_limit(estimate.low, estimate.high, asserts.at_least, at_least=True)
    said = f"{estimate.low:.4f} to {estimate.high:.4f}" if estimate.low else f"below {short(estimate.high)}"
    return Finding(
        verdict=Verdict.BOUNDED,
        meets=meets,
        statement=f"{figure.name}: {said} ({percent(told.confidence)}); claimed: at least {short(asserts.at_least)}.",
        over=over,
        method=f"sampled: {tally.disturbed:,} disturbed frames judged, {tally.detected:,} caught (seed {told.seed}); "
        "Clopper-Pearson",
        figure=figure,
        needs=narrower(meets, told.confidence, told.budget_s),
    )
