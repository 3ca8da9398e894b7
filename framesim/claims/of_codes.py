"""Claims about a CRC by itself: its distance at a length, and whether 2^-r bounds what it lets pass."""

from framesim.claims.claim import ClaimsFile, DistanceAtLeast
from framesim.claims.counterexample import of_code, of_distance, of_figure
from framesim.claims.finding import Figure, Finding, Meets, Verdict
from framesim.claims.subject import CodeSubject
from framesim.claims.wording import counted, duration, flips_text, short
from framesim.codes.feasible import spectrum_seconds
from framesim.codes.fewest import fewest_flips
from framesim.codes.width_bound import excess_at, width_bound
from framesim.codes.worst_case import TOLERANCE
from framesim.errors import NotFeasible

__all__ = ["decide_bound", "decide_distance"]

COUNTED = "all weights counted"
SURE = 1e-9  # a ratio that far above 1, which is computed to more digits, lies above it for certain


def decide_distance(subject: CodeSubject, asserts: DistanceAtLeast, told: ClaimsFile) -> Finding:
    """Return what was found about a code's Hamming distance: whether any pattern of fewer flips passes."""
    over, method = _over(subject), "exact: a pattern passes if the generator divides it"
    below, most = asserts.distance - 1, subject.code.generator.bit_count()  # the generator itself passes
    found = fewest_flips(subject.code, subject.data_bits, asserts.distance, budget_s=told.budget_s)
    if found.flips is not None and found.flips <= below:
        pattern = found.pattern
        return Finding(
            verdict=Verdict.REFUTED,
            meets=Meets.NO,
            statement=f"the distance is {found.flips}: {flips_text(found.flips)} pass.",
            over=over,
            method=method,
            figure=_distance(found.flips, found.flips, asserts),
            counterexample=of_code(subject, pattern) if pattern else of_distance(subject, found.flips),
        )
    held = below if found.flips is not None else found.reached
    reached = f"no pattern of up to {flips_text(held)} passes the code alone"
    if held >= below:
        said = f"is {found.flips}" if found.flips is not None else f"is at least {held + 1}"
        return Finding(
            verdict=Verdict.PROVEN,
            meets=Meets.YES,
            statement=f"the distance {said}: {reached}.",
            over=over,
            method=method,
            figure=_distance(held + 1, found.flips or most, asserts),
        )
    return Finding(
        verdict=Verdict.OPEN,
        meets=Meets.UNDECIDED,
        statement=f"{reached}; beyond, patterns of up to {flips_text(below)} were not tried.",
        over=over,
        method=method,
        needs=f"{duration(found.needs_s)} (budget_s is {told.budget_s:g})",
    )


def _distance(low: int, high: int, asserts: DistanceAtLeast) -> Figure:
    best = low if low == high else None
    return Figure(name="Hamming distance", low=low, best=best, high=high, limit=asserts.distance, confidence=1.0)


def decide_bound(subject: CodeSubject, told: ClaimsFile) -> Finding:
    """Return what was found about 2^-r as a bound of what a code lets pass, at any bit error ratio up to 1/2."""
    code, over = subject.code, f"{_over(subject)}, every bit error ratio from 0 to 1/2"
    needs_s = spectrum_seconds(code.width, subject.data_bits + code.width)
    if needs_s > told.budget_s:
        return _open(over, f"{duration(needs_s)} for all weights of the code (budget_s is {told.budget_s:g})")
    limit = 2.0**-code.width
    try:
        worst = code.worst_case(subject.data_bits)
        most = worst.probability * (1 + TOLERANCE)
        if worst.ratio > 1 + SURE:
            return _above(subject, over, worst.bit_error_ratio, worst.ratio - 1, most)
        bound = width_bound(code, subject.data_bits)
    except NotFeasible as refusal:
        return _open(over, str(refusal))
    excess = excess_at(code, subject.data_bits, worst.bit_error_ratio)
    if bound.bit_error_ratio is not None:
        if excess > bound.excess:
            return _above(subject, over, worst.bit_error_ratio, excess, most)
        return _above(subject, over, bound.bit_error_ratio, bound.excess, most)
    highest = f"the highest value found is {short(worst.probability)}, at a bit error ratio of "
    highest += f"{short(worst.bit_error_ratio)}, {_relative(excess)}"
    if not bound.holds:
        return Finding(
            verdict=Verdict.BOUNDED,
            meets=Meets.UNDECIDED,
            statement=f"the bound is 2^-{code.width} = {short(limit)}; {highest}; nowhere is the excess above "
            f"{short(most / limit - 1)}.",
            over=over,
            method=f"{COUNTED}; value and bound are too nearly the same to tell which is larger",
            figure=_worst(worst.probability, most, limit),
        )
    return Finding(
        verdict=Verdict.PROVEN,
        meets=Meets.YES,
        statement=f"no bit error ratio lets more than 2^-{code.width} = {short(limit)} pass; {highest}.",
        over=over,
        method=f"{COUNTED}; limits on each of the pieces into which the range was cut, without a tolerance",
        figure=_worst(min(worst.probability, limit), limit, limit),
    )


def _above(subject: CodeSubject, over: str, bit_error_ratio: float, excess: float, most: float) -> Finding:
    """Return the refutation by one bit error ratio at which more passes."""
    code = subject.code
    limit = 2.0**-code.width
    probability = limit * (1 + excess)
    return Finding(
        verdict=Verdict.REFUTED,
        meets=Meets.NO,
        statement=f"at a bit error ratio of {short(bit_error_ratio)} the code lets {short(probability)} pass; the "
        f"bound 2^-{code.width} is {short(limit)}, the {_relative(excess)}.",
        over=over,
        method=f"{COUNTED}; no bit error ratio lets more than {short(most)} pass",
        figure=_worst(probability, max(most, probability), limit),
        counterexample=of_figure(
            subject,
            bit_error_ratio=bit_error_ratio,
            probability=probability,
            times_2_to_width=1 + excess,
            relative_excess=excess,
            code=subject.describe(),
        ),
    )


def _worst(low: float, high: float, limit: float) -> Figure:
    name = "P(undetected) at the worst bit error ratio"
    return Figure(name=name, low=low, best=low, high=high, limit=limit, confidence=1.0)


def _relative(excess: float) -> str:
    """Say by how much a value exceeds the bound, in parts of it."""
    return f"relative excess {short(excess)}" if excess else "relative excess positive, but smaller than any float"


def _over(subject: CodeSubject) -> str:
    return f"{subject.code.name} alone over {counted(subject.data_bits, 'data bit')}, without stuffing or line code"


def _open(over: str, refusal: str) -> Finding:
    return Finding(
        verdict=Verdict.OPEN, meets=Meets.UNDECIDED, statement="not computed.", over=over, method="none", needs=refusal
    )
