"""Decide all claims of a file, one after the other; an interruption keeps what is done."""

from collections.abc import Callable

from framesim.claims.bursts import decide_bursts, decide_code_bursts
from framesim.claims.claim import (
    BoundedByWidth,
    Claim,
    ClaimsFile,
    DetectsBursts,
    DetectsFlips,
    DistanceAtLeast,
    FirstToSpeak,
    PerHourAtMost,
    ResidualAtMost,
)
from framesim.claims.finding import Finding, Meets, Verdict
from framesim.claims.flips import decide_flips
from framesim.claims.of_codes import decide_bound, decide_distance
from framesim.claims.rates import decide_rate
from framesim.claims.reading import load_claims
from framesim.claims.record import ClaimsReport
from framesim.claims.shares import decide_share
from framesim.claims.subject import CodeSubject
from framesim.errors import NotFeasible

__all__ = ["UNREACHED", "Progress", "check_claims", "decide", "decide_all"]

#: Called with the share done (0..1) and a word on what is being done.
Progress = Callable[[float, str], None]


def check_claims(path: str | None = None, *, progress: Progress | None = None) -> ClaimsReport:
    """Prove, refute or bound each claim of a file, or say what it would take.

    A ``KeyboardInterrupt`` ends the work; claims not reached are then open and the report says that it is partial.

    Args:
        path: a claims file in TOML (``docs/claims.md``); None: the built-in claims.
        progress: called now and then.

    Returns:
        The report. The same file, seed and version give the same findings on any machine with the same libraries.

    Raises:
        BadInput: the file cannot be read or used; the message names file, claim, key and expected form.
    """
    return decide_all(load_claims(path), progress=progress)


def decide_all(claims: ClaimsFile, *, progress: Progress | None = None) -> ClaimsReport:
    """Decide all claims of a file that was read; see ``check_claims``."""
    findings: list[Finding] = []
    try:
        for number, claim in enumerate(claims.claims):
            if progress is not None:
                progress(number / len(claims.claims), claim.name)
            findings.append(decide(claim, claims))
    except KeyboardInterrupt:
        rest = [UNREACHED] * (len(claims.claims) - len(findings))
        return ClaimsReport(claims=claims, findings=(*findings, *rest), partial=True)
    return ClaimsReport(claims=claims, findings=tuple(findings))


UNREACHED = Finding(
    verdict=Verdict.OPEN,
    meets=Meets.UNDECIDED,
    statement="not reached: the run was interrupted.",
    over="nothing",
    method="none",
    needs="run again",
)


def decide(claim: Claim, told: ClaimsFile) -> Finding:
    """Return what is found about one claim.

    Args:
        claim: it.
        told: seed, confidence and budget.
    """
    try:
        return _decide(claim, told)
    except NotFeasible as refusal:
        return Finding(
            verdict=Verdict.OPEN,
            meets=Meets.UNDECIDED,
            statement="not computed.",
            over="nothing",
            method="none",
            needs=str(refusal),
        )


def _decide(claim: Claim, told: ClaimsFile) -> Finding:
    subject, asserts = claim.subject, claim.asserts
    if isinstance(subject, CodeSubject):
        if isinstance(asserts, DistanceAtLeast):
            return decide_distance(subject, asserts, told)
        if isinstance(asserts, DetectsBursts):
            return decide_code_bursts(subject, asserts)
        assert isinstance(asserts, BoundedByWidth)  # the reader lets nothing else through
        return decide_bound(subject, told)
    if isinstance(asserts, DetectsFlips):
        return decide_flips(claim.name, subject, asserts, told)
    if isinstance(asserts, DetectsBursts):
        return decide_bursts(claim.name, subject, asserts, told)
    if isinstance(asserts, FirstToSpeak):
        return decide_share(claim.name, subject, asserts, claim.channel, told)
    assert isinstance(asserts, ResidualAtMost | PerHourAtMost)
    return decide_rate(claim.name, subject, asserts, claim.channel, told)
