"""Claims about a CRC by itself: its distance at a length, and whether 2^-r bounds what it lets pass."""

from framesim.claims.claim import DistanceAtLeast
from framesim.claims.counterexample import of_code, of_figure
from framesim.claims.finding import Figure, Finding, Meets, Verdict
from framesim.claims.subject import CodeSubject
from framesim.claims.wording import counted, flips_text, short
from framesim.codes.worst_case import TOLERANCE
from framesim.errors import NotFeasible

__all__ = ["decide_bound", "decide_distance"]


def decide_distance(subject: CodeSubject, asserts: DistanceAtLeast) -> Finding:
    """Return what was found about a code's Hamming distance."""
    code, over = subject.code, _over(subject)
    method = "exact: a pattern passes if the generator divides it"
    try:
        distance = code.hamming_distance(subject.data_bits)
        figure = Figure(
            name="Hamming distance", low=distance, best=distance, high=distance, limit=asserts.distance, confidence=1.0
        )
        if distance >= asserts.distance:
            return Finding(
                verdict=Verdict.PROVEN,
                meets=Meets.YES,
                statement=f"the distance is {distance}: no pattern of up to {flips_text(distance - 1)} passes the code "
                "alone.",
                over=over,
                method=method,
                figure=figure,
            )
        pattern = code.undetected_pattern(subject.data_bits)
    except NotFeasible as refusal:
        return _open(over, str(refusal))
    return Finding(
        verdict=Verdict.REFUTED,
        meets=Meets.NO,
        statement=f"the distance is {distance}: {flips_text(len(pattern))} pass.",
        over=over,
        method=method,
        figure=figure,
        counterexample=of_code(subject, pattern),
    )


def decide_bound(subject: CodeSubject) -> Finding:
    """Return what was found about 2^-r as a bound of what a code lets pass, at any bit error ratio up to 1/2."""
    code, over = subject.code, f"{_over(subject)}, every bit error ratio from 0 to 1/2"
    try:
        worst = code.worst_case(subject.data_bits)
    except NotFeasible as refusal:
        return _open(over, str(refusal))
    limit = 2.0**-code.width
    figure = Figure(
        name="P(undetected) at the worst bit error ratio",
        low=worst.probability,
        best=worst.probability,
        high=worst.probability * (1 + TOLERANCE),
        limit=limit,
        confidence=1.0,
    )
    method = f"all weights counted; the maximum is at most {TOLERANCE:.1%} above the value"
    if worst.bounded:
        return Finding(
            verdict=Verdict.BOUNDED,
            meets=Meets.YES,
            statement=f"within {TOLERANCE:.1%}, no bit error ratio lets more than 2^-{code.width} = {short(limit)} "
            "pass.",
            over=over,
            method=method,
            figure=figure,
        )
    return Finding(
        verdict=Verdict.REFUTED,
        meets=Meets.NO,
        statement=f"at a bit error ratio of {short(worst.bit_error_ratio)} the code lets {short(worst.probability)} "
        f"pass, {worst.ratio:.1f} times 2^-{code.width}.",
        over=over,
        method=method,
        figure=figure,
        counterexample=of_figure(
            subject,
            bit_error_ratio=worst.bit_error_ratio,
            probability=worst.probability,
            times_2_to_width=worst.ratio,
            code=subject.describe(),
        ),
    )


def _over(subject: CodeSubject) -> str:
    return f"{subject.code.name} alone over {counted(subject.data_bits, 'data bit')}, without stuffing or line code"


def _open(over: str, refusal: str) -> Finding:
    return Finding(
        verdict=Verdict.OPEN, meets=Meets.UNDECIDED, statement="not computed.", over=over, method="none", needs=refusal
    )
