"""Claims about P(undetected) per frame, or per hour at a stated traffic."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from framesim.claims.claim import ClaimsFile, PerHourAtMost, ResidualAtMost
from framesim.claims.costs import expect_affordable, residual_seconds
from framesim.claims.counterexample import DECIDED_AGAIN, Counterexample, command_for, of_figure
from framesim.claims.finding import Figure, Finding, Meets, Verdict, narrower, of_limit
from framesim.claims.looking import look_at
from framesim.claims.payloads import draws, some_payloads
from framesim.claims.sampling import sample
from framesim.claims.subject import FrameSubject
from framesim.claims.traffic import frames_per_second
from framesim.claims.wording import counted, percent, short
from framesim.coverage.exact.over_frames import sum_of
from framesim.coverage.exact.worst import worst_payload
from framesim.coverage.population import Listed
from framesim.coverage.residual_curve import residual_curve
from framesim.coverage.residual_record import Residual
from framesim.disturbance import Ignition
from framesim.errors import NotFeasible

__all__ = ["decide_rate"]

WORST_SECONDS = 3e-4
EXAMPLE_FLIPS = 5  # up to which a pattern is looked for that shows what passes
FEWEST = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """P(undetected): limits, how sure, and over which frames."""

    low: float
    high: float
    best: float | None
    confidence: float
    method: str
    over: str
    example_of: Any = None
    worst_found: bool = False


def decide_rate(
    name: str, subject: FrameSubject, asserts: ResidualAtMost | PerHourAtMost, channel: Any, told: ClaimsFile
) -> Finding:
    """Return what was found about P(undetected), or about undetected frames per hour."""
    if isinstance(asserts, ResidualAtMost):
        factor, limit, unit, traffic = 1.0, asserts.probability, "P(undetected) per frame", ""
    else:
        per_second, traffic = frames_per_second(subject, asserts)
        factor, limit, unit = per_second * 3600, asserts.rate, "undetected frames per hour"
    try:
        engine = isinstance(channel, Ignition)
        found = (
            _sampled(name, subject, channel, asserts, told) if engine else _found(name, subject, channel, asserts, told)
        )
    except NotFeasible as refusal:
        return Finding(
            verdict=Verdict.OPEN,
            meets=Meets.UNDECIDED,
            statement="not computed.",
            over=f"frames of {subject.network}",
            method="none",
            needs=str(refusal),
        )
    figure = Figure(
        name=unit,
        low=found.low * factor,
        high=found.high * factor,
        best=None if found.best is None else found.best * factor,
        limit=limit,
        confidence=found.confidence,
    )
    return _finding(subject, channel, told, found, figure, traffic)


def _finding(
    subject: FrameSubject, channel: Any, told: ClaimsFile, found: _Found, figure: Figure, traffic: str
) -> Finding:
    meets = of_limit(figure.low, figure.high, figure.limit)
    certain = found.confidence == 1
    said = f"{_said(figure)}; claimed: at most {short(figure.limit)}"
    verdict, example, needs = Verdict.BOUNDED, None, ""
    if found.worst_found and meets is not Meets.NO:
        verdict, meets = Verdict.OPEN, Meets.UNDECIDED
        needs = f"all 256^{subject.n_bytes} payloads; the worst found may not be the worst"
    elif certain and meets is Meets.NO:
        verdict, example = Verdict.REFUTED, _example(subject, channel, found, told)
    elif certain and meets is Meets.YES:
        exact = figure.low == figure.high or found.method.startswith("exact")
        verdict = Verdict.PROVEN if exact else Verdict.BOUNDED
    else:
        needs = narrower(meets, found.confidence, told.budget_s)
    return Finding(
        verdict=verdict,
        meets=meets,
        statement=f"{figure.name}: {said}.",
        over=f"{found.over}{_seen_by(subject)}{traffic}",
        method=found.method,
        figure=figure,
        counterexample=example,
        needs=needs,
    )


def _said(figure: Figure) -> str:
    if figure.best is not None and figure.high - figure.low <= 1e-3 * figure.high:
        return short(figure.best)
    limits = f"{short(figure.low)} to {short(figure.high)}"
    how = "for certain" if figure.confidence == 1 else percent(figure.confidence)
    return f"{limits} ({how})" if figure.low else f"below {short(figure.high)} ({how})"


def _seen_by(subject: FrameSubject) -> str:
    parts = [", at one receiver disturbed alone" if subject.reach == "local" else ", flips common to all nodes"]
    if subject.receivers > 1:
        parts = [f", at one or more of {subject.receivers} receivers, flips {subject.reach}"]
    if subject.same_end:
        parts.append(", accepted at the sender's own end")
    return "".join(parts)


def _example(subject: FrameSubject, channel: Any, found: _Found, told: ClaimsFile) -> Counterexample:
    """Return the figure with its command; or, better, a pattern that passes in the frame it belongs to."""
    frame = found.example_of
    if frame is not None:
        look = look_at(frame, EXAMPLE_FLIPS, same_end=subject.same_end, budget_s=told.budget_s)
        if look.example is not None:
            command = _residual_command(frame, channel, subject)
            return replace(look.example, replay=(*look.example.replay, *([command] if command else [])))
    command = "" if frame is None else _residual_command(frame, channel, subject)  # a mean is no frame's own figure
    return of_figure(command or DECIDED_AGAIN, low=found.low, high=found.high, channel=channel.describe())


def _residual_command(frame: Any, channel: Any, subject: FrameSubject) -> str:
    ratio = channel.describe().get("bit_error_ratio")
    if ratio is None:
        return ""
    more = " --acceptance same_end" if subject.same_end else ""
    more += f" --receivers {subject.receivers}" if subject.receivers > 1 else ""
    more += " --disturbance common" if subject.reach == "common" else ""
    return f"{command_for('residual', frame)} --bit-error-ratio {ratio!r}{more}"


def _found(
    name: str, subject: FrameSubject, channel: Any, asserts: ResidualAtMost | PerHourAtMost, told: ClaimsFile
) -> _Found:
    how: dict[str, Any] = {
        "acceptance": subject.acceptance,
        "receivers": subject.receivers,
        "disturbance": subject.reach,
        "confidence": told.confidence,
        "budget_s": told.budget_s,
    }
    if subject.payload == "worst":
        return _of_worst(name, subject, channel, told, how)
    try:
        if subject.payload == "random" and subject.network == "can":
            point = residual_curve(draws(subject, told.seed, name), [channel], **how).points[0]
            return _of(point, f"{_payloads(subject)}; {counted(point.frames, 'frame')} drawn (seed {told.seed})")
        if subject.payload == "random":
            return _over_draws(name, subject, channel, told, how)
        if subject.network != "can":  # on classic CAN the sums know the budget
            expect_affordable(subject.frames, channel, told.budget_s)
        if len(subject.frames) == 1:
            return _of(residual_curve(subject.frame, [channel], **how).points[0], "one frame", subject.frame)
        point = residual_curve(Listed(frames=subject.frames), [channel], **how).points[0]
        return _of(point, f"the mean over {len(subject.frames)} frames listed")
    except NotFeasible:
        if subject.receivers != 1 or subject.reach != "local" or subject.same_end:
            raise
        return _sampled(name, subject, channel, asserts, told)


def _payloads(subject: FrameSubject) -> str:
    return f"the mean over random payloads of {counted(subject.n_bytes, 'byte')}"


def _of(point: Residual, over: str, frame: Any = None) -> _Found:
    if point.reason:
        raise NotFeasible(f"the sample is too small: {point.reason}")
    method = f"{point.method}: {point.basis}"
    return _Found(
        low=point.low,
        high=point.high,
        best=None if point.method == "bounded" else point.probability,
        confidence=point.confidence,
        method=method,
        over=over,
        example_of=frame,
    )


def _of_worst(name: str, subject: FrameSubject, channel: Any, told: ClaimsFile, how: dict[str, Any]) -> _Found:
    """Return the value of the worst payload found; of any, where payloads make no difference."""
    if subject.network == "can" and subject.n_bytes:
        tries = max(1000, min(int(told.budget_s / 2 / WORST_SECONDS), 1_000_000))
        worst = worst_payload(
            subject.frame, flips=2, same_end=subject.same_end, tries=tries, seed=draws(subject, told.seed, name).seed
        )
        frame, tried = worst.frame, worst.tried
        point = residual_curve(frame, [channel], **how).points[0]
    else:
        expect_affordable(subject.frames, channel, told.budget_s)
        most = int(told.budget_s / residual_seconds(subject.frame, channel))
        payloads, complete = some_payloads(subject, told.seed, name, most)
        some = [subject.with_payload(each) for each in payloads]
        points = [residual_curve(frame, [channel], **how).points[0] for frame in some]
        tried = len(points)
        place = int(np.argmax([point.low for point in points]))
        frame, point = some[place], points[place]
        if complete:
            high = max(each.high for each in points)
            return replace(_of(point, f"all {counted(tried, 'payload')}", frame), high=high)
    over = f"payload {frame.payload.hex()}, the worst found of {counted(tried, 'payload')} tried (seed {told.seed})"
    return replace(_of(point, over, frame), worst_found=True)


def _over_draws(name: str, subject: FrameSubject, channel: Any, told: ClaimsFile, how: dict[str, Any]) -> _Found:
    """Return the mean over payloads drawn, each computed by its network's method."""
    size = 256**subject.n_bytes
    expect_affordable([subject.frame] * min(FEWEST, size), channel, told.budget_s)
    most = int(told.budget_s / residual_seconds(subject.frame, channel))
    payloads, complete = some_payloads(subject, told.seed, name, most)
    points = [residual_curve(subject.with_payload(each), [channel], **how).points[0] for each in payloads]
    lows, highs = (np.array([getattr(point, side) for point in points]) for side in ("low", "high"))
    over = f"{_payloads(subject)}; {counted(len(points), 'frame')} drawn (seed {told.seed})"
    if complete:
        method, confidence = f"{points[0].method}: all payloads; {points[0].basis}", 1.0
        return _Found(
            low=float(lows.mean()), high=float(highs.mean()), best=None, confidence=confidence, method=method, over=over
        )
    low, trouble = sum_of({0: (lows, 0.0)}, told.confidence)
    high, more = sum_of({0: (highs, 0.0)}, told.confidence)
    if trouble or more:
        raise NotFeasible(f"the sample is too small: {trouble or more}")
    return _Found(
        low=low.low,
        high=high.high,
        best=None,
        confidence=told.confidence,
        method=f"stratified: frames drawn, each computed ({points[0].basis}); Student over frames",
        over=over,
    )


def _sampled(
    name: str, subject: FrameSubject, channel: Any, asserts: ResidualAtMost | PerHourAtMost, told: ClaimsFile
) -> _Found:
    """Return what plain sampling says, where no method computes it."""
    drawn = sample(name, subject, channel, asserts, seed=told.seed, budget_s=told.budget_s)
    estimate = drawn.undetected(told.confidence)
    return _Found(
        low=estimate.low,
        high=estimate.high,
        best=estimate.best or None,
        confidence=told.confidence,
        method=f"sampled: {drawn.tally.frames:,} frames sent, {drawn.tally.disturbed:,} of them disturbed and judged "
        f"(seed {told.seed}); {estimate.method}",
        over="one frame" if subject.payload == "fixed" else "frames drawn",
    )
