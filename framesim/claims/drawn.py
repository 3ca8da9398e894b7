"""Claims about patterns of flips in frames of any payload: all payloads where there are few, else some of them.

Where payloads are drawn, what none of them shows is limited, not excluded. A search for the worst one can refute a
claim, and cannot prove it.
"""

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from framesim.claims.claim import ClaimsFile, DetectsFlips
from framesim.claims.finding import Figure, Finding, Meets, Verdict, narrower, of_limit
from framesim.claims.looking import Look, look_at, look_seconds
from framesim.claims.payloads import draws, some_payloads
from framesim.claims.subject import FrameSubject
from framesim.claims.wording import all_or_some, counted, duration, flips_text, percent, short
from framesim.coverage.exact.forms import Form
from framesim.coverage.exact.survey import COSTS
from framesim.coverage.exact.worst import worst_payload
from framesim.coverage.intervals import clopper_pearson
from framesim.judging import encode

__all__ = ["flips_over_payloads"]

AT_ONCE = 1000
COUNTED = 6  # flips that classic CAN's counts reach
FEWEST_WORST = 1000
WORST_SECONDS = {1: 8e-6, 2: 3e-4}
SLACK = 1.5  # a payload may bring more stuff bits than zeros do
LEAST_SECONDS = 2e-6  # a frame, times the square of its bits, roughly: to set up what counts its patterns


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """Frames looked at for one number of flips: how many, and in how many of them a pattern passes."""

    frames: int
    passing: int
    example: bytes | None


def flips_over_payloads(name: str, subject: FrameSubject, asserts: DetectsFlips, told: ClaimsFile) -> Finding:
    """Return what was found about frames of random payloads, or of the worst one."""
    if subject.network == "flexray" and not subject.frame.null:
        return _whatever_payload(subject, asserts, told)
    if subject.network != "can":
        return _elsewhere(name, subject, asserts, told)
    form = Form(subject.frame)
    size, up_to = 256**subject.n_bytes, min(asserts.up_to, COUNTED)
    population = draws(subject, told.seed, name)
    if size * COSTS[up_to] <= told.budget_s:
        payloads = [population.every(first, min(AT_ONCE, size - first)) for first in range(0, size, AT_ONCE)]
        seen = {flips: _look(form, payloads, flips, subject.same_end) for flips in range(1, up_to + 1)}
        return _finding(subject, asserts, told, seen, complete=True)
    if subject.payload == "worst":
        return _searched(subject, asserts, told, population.seed)
    seen = {}
    share_s = told.budget_s / up_to
    for flips in range(1, up_to + 1):
        frames = max(1, min(int(share_s / COSTS[flips]), 1_000_000))
        first = flips << 40  # frames of different strata are different frames
        parts = [population.draw(first + done, min(AT_ONCE, frames - done)) for done in range(0, frames, AT_ONCE)]
        seen[flips] = _look(form, parts, flips, subject.same_end)
    return _finding(subject, asserts, told, seen, complete=False)


def _look(form: Form, parts: list[NDArray[np.uint8]], flips: int, same_end: bool) -> _Seen:
    """Look at patterns of exactly so many flips in frames of these payloads."""
    frames = passing = 0
    example: bytes | None = None
    for payloads in parts:
        hit = _passing(form, payloads, flips, same_end)
        frames += len(payloads)
        passing += int(hit.sum())
        if example is None and hit.any():
            example = payloads[int(hit.argmax())].tobytes()
    return _Seen(frames=frames, passing=passing, example=example)


def _passing(form: Form, payloads: NDArray[np.uint8], flips: int, same_end: bool) -> NDArray[np.bool_]:
    """Tell which frames have an undetected pattern of exactly so many flips."""
    offset = form.line.accept_at - form.line.sent_bits
    if flips == 1:
        frame, _, end, sent_bits = form.singles(payloads)
        kept = frame[(end == sent_bits[frame] + offset) | (not same_end)]
        return np.asarray(np.bincount(kept, minlength=len(payloads)) > 0)
    counts = form.counts(payloads, flips)[:, flips]
    if not same_end:
        return np.asarray(counts.sum(axis=1) > 0)
    _, sent_bits = form.wires(form.words(payloads))
    return np.asarray(counts[np.arange(len(payloads)), sent_bits + offset] > 0)


def _finding(
    subject: FrameSubject, asserts: DetectsFlips, told: ClaimsFile, seen: dict[int, _Seen], *, complete: bool
) -> Finding:
    frames = max(each.frames for each in seen.values())
    over = f"{all_or_some(frames, complete)} of {counted(subject.n_bytes, 'byte')}"
    over += " looked at for single flips, fewer for more" if not complete and len(seen) > 1 else ""
    method = "exact counts for each frame" + ("" if complete else f", payloads drawn (seed {told.seed})")
    passing = {flips: each.passing for flips, each in seen.items()}
    share = asserts.share_of_frames
    fewest = next((flips for flips, number in passing.items() if number), None)
    if fewest is not None and share is None:
        example = seen[fewest].example
        assert example is not None  # it is kept where a frame is counted
        look = look_at(subject.with_payload(example), fewest, same_end=subject.same_end, budget_s=1e9)
        number = f"{counted(passing[fewest], 'frame')} of {seen[fewest].frames:,}"
        return Finding(
            verdict=Verdict.REFUTED if look.example else Verdict.OPEN,
            meets=Meets.NO if look.example else Meets.UNDECIDED,
            statement=f"with {flips_text(fewest)}, {number} let some pattern pass, payload {example.hex()} among them.",
            over=over,
            method=method,
            counts=look.counts,
            counterexample=look.example,
            needs="" if look.example else "a pattern that can be replayed; the count says that there is one",
        )
    if complete and share is None and max(seen) >= asserts.up_to:
        return Finding(
            verdict=Verdict.PROVEN,
            meets=Meets.YES,
            statement=f"no pattern of up to {flips_text(asserts.up_to)} passes, whatever the payload.",
            over=over,
            method=method,
            counts=passing,
        )
    if max(seen) < asserts.up_to:
        return Finding(
            verdict=Verdict.OPEN,
            meets=Meets.UNDECIDED,
            statement=f"patterns of more than {flips_text(max(seen))} were not counted.",
            over=over,
            method=method,
            counts=passing,
            needs="a method for more flips over many frames",
        )
    return _share(asserts, told, seen, over, method, passing, complete=complete)


def _share(
    asserts: DetectsFlips,
    told: ClaimsFile,
    seen: dict[int, _Seen],
    over: str,
    method: str,
    passing: dict[int, int],
    *,
    complete: bool,
) -> Finding:
    """Return limits of the share of frames in which nothing passes; each number of flips has its part of the doubt."""
    wanted = 1.0 if asserts.share_of_frames is None else asserts.share_of_frames
    each = 1 - (1 - told.confidence) / len(seen)
    if complete:
        parts = [(part.passing / part.frames,) * 2 for part in seen.values()]
    else:
        found = [clopper_pearson(part.passing, part.frames, confidence=each) for part in seen.values()]
        parts = [(part.low, part.high) for part in found]
    low, high = max(0.0, 1 - sum(part[1] for part in parts)), 1 - max(part[0] for part in parts)
    confidence = 1.0 if complete else told.confidence
    meets = of_limit(low, high, wanted, at_least=True)
    none = "none showed a pattern that passes; " if not any(passing.values()) else ""
    return Finding(
        verdict=Verdict.BOUNDED,
        meets=meets,
        statement=f"{none}at most {short(1 - low)} of all frames have one ({percent(confidence)}).",
        over=over,
        method=f"{method}; Clopper-Pearson for each number of flips, doubts added" if not complete else method,
        figure=Figure(
            name="share of frames in which no pattern passes", low=low, high=high, limit=wanted, confidence=confidence
        ),
        counts=passing,
        needs=narrower(meets, confidence, told.budget_s),
    )


def _searched(subject: FrameSubject, asserts: DetectsFlips, told: ClaimsFile, seed: int) -> Finding:
    """Look for the payload that lets most patterns of one or two flips pass, then at what passes there."""
    found: list[tuple[Look, bytes]] = []
    tried, share_s = 0, told.budget_s / 4  # two searches, each followed by a look
    for flips in (1, 2)[: asserts.up_to]:
        tries = max(FEWEST_WORST, min(int(share_s / WORST_SECONDS[flips]), 10_000_000))
        worst = worst_payload(subject.frame, flips=flips, same_end=subject.same_end, tries=tries, seed=seed)  # type: ignore[arg-type]
        tried += worst.tried
        here = look_at(worst.frame, asserts.up_to, same_end=subject.same_end, budget_s=share_s)
        found.append((here, worst.payload))
        if _fewest(here) <= flips:  # what the search was about; more flips may pass in any payload
            break
    look, payload = min(reversed(found), key=lambda pair: _fewest(pair[0]))
    what = f"payload {payload.hex()}, the worst found of {tried:,} tried (seed {told.seed})"
    return _worst_finding(subject, asserts, look, what, tried, COSTS[min(asserts.up_to, COUNTED)])


def _fewest(look: Look) -> float:
    """Return the flips of the pattern that passes; infinity where none does."""
    return inf if look.example is None else len(look.example.flips)


def _worst_finding(
    subject: FrameSubject, asserts: DetectsFlips, look: Look, what: str, tried: int, cost: float
) -> Finding:
    some = f"{counted(tried, 'payload')} of {counted(subject.n_bytes, 'byte')}"
    over = f"the worst found of {some}; there may be worse" if subject.payload == "worst" else f"{some} drawn"
    if look.example is not None:
        flips = len(look.example.flips)
        return Finding(
            verdict=Verdict.REFUTED,
            meets=Meets.NO,
            statement=f"with {what}, a pattern of {flips_text(flips)} passes: the receiver accepted another frame than "
            "was sent.",
            over=over,
            method=look.method,
            counts=look.counts,
            counterexample=look.example,
        )
    return Finding(
        verdict=Verdict.OPEN,
        meets=Meets.UNDECIDED,
        statement=f"no pattern of up to {flips_text(look.reached)} passes with {what}."
        if look.reached
        else f"a look at one payload for patterns of up to {flips_text(asserts.up_to)} takes more than the budget.",
        over=over,
        method=look.method,
        counts=look.counts,
        needs=f"all 256^{subject.n_bytes} payloads: {duration(_all_seconds(subject, cost))}",
    )


def _all_seconds(subject: FrameSubject, cost: float) -> float:
    """Return how long all payloads would take, roughly, at so much for each; infinity for more than a float holds."""
    return 256.0**subject.n_bytes * cost if subject.n_bytes <= 100 else inf


def _whatever_payload(subject: FrameSubject, asserts: DetectsFlips, told: ClaimsFile) -> Finding:
    """Return what holds for all payloads of a FlexRay frame: its words do not depend on them."""
    from framesim.claims.flips import from_looks

    look = look_at(subject.frame, asserts.up_to, budget_s=told.budget_s)
    over = f"all payloads of {counted(subject.n_bytes, 'byte')}, at one receiver disturbed alone"
    return from_looks([look], asserts.up_to, f"{over}; which flips pass does not depend on the payload", 1)


def _elsewhere(name: str, subject: FrameSubject, asserts: DetectsFlips, told: ClaimsFile) -> Finding:
    """Look at frames one by one; where the worst is looked for, at telling payloads first."""
    from framesim.claims.flips import from_looks

    sent = encode(subject.frame)
    cost = LEAST_SECONDS * len(sent) ** 2 + SLACK * look_seconds(sent, asserts.up_to)
    payloads, complete = some_payloads(subject, told.seed, name, max(1, int(told.budget_s / cost)))
    looks: list[Look] = []
    for payload in payloads:
        looks.append(look_at(subject.with_payload(payload), asserts.up_to, budget_s=min(cost, told.budget_s)))
        if looks[-1].passing and asserts.share_of_frames is None:
            break
    if asserts.share_of_frames is None and (looks[-1].passing or complete):
        over = (
            f"{all_or_some(len(looks), complete and len(looks) == len(payloads))} of {counted(subject.n_bytes, 'byte')}"
        )
        return from_looks(looks, asserts.up_to, over, len(payloads))
    reached = min(look.reached for look in looks)
    if subject.payload == "worst" or reached < asserts.up_to:
        look = looks[int(np.argmin([each.reached for each in looks]))]
        return _worst_finding(subject, asserts, look, f"{counted(len(looks), 'payload')} tried", len(looks), cost)
    seen = {asserts.up_to: _Seen(frames=len(looks), passing=sum(look.passing for look in looks), example=None)}
    over = f"{counted(len(looks), 'payload')} of {counted(subject.n_bytes, 'byte')} drawn"
    passing = {asserts.up_to: seen[asserts.up_to].passing}
    method = f"{looks[0].method}, payloads drawn (seed {told.seed})"
    return _share(asserts, told, seen, over, method, passing, complete=complete)
