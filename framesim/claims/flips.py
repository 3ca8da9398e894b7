"""Claims that every pattern of up to k flips is noticed, on frames written down."""

from framesim.claims.claim import ClaimsFile, DetectsFlips
from framesim.claims.drawn import flips_over_payloads
from framesim.claims.finding import Finding, Meets, Verdict
from framesim.claims.looking import Look, look_at
from framesim.claims.subject import FrameSubject
from framesim.claims.wording import counted, duration, flips_text

__all__ = ["decide_flips"]


def decide_flips(name: str, subject: FrameSubject, asserts: DetectsFlips, told: ClaimsFile) -> Finding:
    """Return what was found.

    Args:
        name: the claim's id; what is drawn depends on it and on the seed.
        subject: the frames.
        asserts: the claim.
        told: seed, confidence and budget.
    """
    if subject.open_payload:
        return flips_over_payloads(name, subject, asserts, told)
    share_s = told.budget_s / len(subject.frames)
    looks = []
    for frame in subject.frames:
        looks.append(look_at(frame, asserts.up_to, same_end=subject.same_end, budget_s=share_s))
        if looks[-1].example is not None:
            break
    return from_looks(looks, asserts.up_to, over_text(subject), len(subject.frames))


def over_text(subject: FrameSubject) -> str:
    """Say which frames are meant."""
    frames = "one frame" if len(subject.frames) == 1 else f"{len(subject.frames)} frames listed"
    end = ", accepted at the sender's own end" if subject.same_end else ""
    return f"{frames} of {subject.network}, at one receiver disturbed alone{end}"


def from_looks(looks: list[Look], up_to: int, over: str, n_frames: int) -> Finding:
    """Return the finding that the looks at all frames add up to; the last one may have ended the search."""
    counts: dict[int, int] = {}
    for look in looks:
        for flips, number in look.counts.items():
            counts[flips] = counts.get(flips, 0) + number
    last, method = looks[-1], looks[-1].method
    if last.example is not None:
        flips = len(last.example.flips)
        passing = last.counts.get(flips, 1)
        listed = last.method.startswith(("exact", "every pattern tried"))
        said = counted(passing, "pattern") if listed else "at least one pattern"
        said = f"{said} of {flips_text(flips)}"
        where = "this frame" if n_frames == 1 else f"frame {len(looks)} of {n_frames}"
        return Finding(
            verdict=Verdict.REFUTED,
            meets=Meets.NO,
            statement=f"{said} passed as right in {where}: the receiver accepted another frame than was sent.",
            over=over,
            method=method,
            counts=counts,
            counterexample=last.example,
        )
    reached = min(look.reached for look in looks)
    if any(look.passing for look in looks):
        return Finding(
            verdict=Verdict.OPEN,
            meets=Meets.UNDECIDED,
            statement=f"the count says that patterns of up to {flips_text(reached)} pass, but none was put together.",
            over=over,
            method=method,
            counts=counts,
            needs="a pattern that can be replayed; more budget_s may find one",
        )
    if reached >= up_to:
        return Finding(
            verdict=Verdict.PROVEN,
            meets=Meets.YES,
            statement=f"no pattern of up to {flips_text(up_to)} passes.",
            over=over,
            method=method,
            counts=counts,
        )
    needs_s = sum(look.needs_s for look in looks)
    done = f"no pattern of up to {flips_text(reached)} passes; beyond, " if reached else ""
    return Finding(
        verdict=Verdict.OPEN,
        meets=Meets.UNDECIDED,
        statement=f"{done}patterns of up to {flips_text(up_to)} were not tried.",
        over=over,
        method=method,
        counts=counts,
        needs=duration(needs_s),
    )
