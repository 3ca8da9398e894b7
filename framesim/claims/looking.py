"""Every pattern of a few flips in one frame: whether any passes, by the method that its network has.

Costs are fixed figures, not a clock, so the same claim is left open on every machine alike.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import combinations, islice
from math import comb

from bitarray import bitarray

from framesim.claims.counterexample import Counterexample, of_frame
from framesim.codes import crc
from framesim.coverage.exact.graded import counts_by_flips
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.patterns import MOST_FLIPS, Pattern, undetected_bursts, undetected_patterns
from framesim.coverage.exact.same_content import same_content
from framesim.coverage.linear import can_fd
from framesim.coverage.linear.flexray import flexray_patterns
from framesim.coverage.linear.lin import lin_patterns
from framesim.coverage.linear.sent import sent_patterns
from framesim.errors import NotFeasible
from framesim.networks.registry import base_name, network_of
from framesim.wire import WireFrame

__all__ = ["Look", "look_at", "look_seconds", "through_seconds"]

#: seconds a frame takes on classic CAN, by flips, roughly
CAN_SECONDS = {1: 0.002, 2: 0.01, 3: 0.02, 4: 0.1, 5: 2.0, 6: 0.1}
ONE_FLIP_MORE = 20  # times longer
SECONDS_A_BIT = 1e-5  # of a pattern that goes through the receiver
FEWEST_TRIES = 5000  # patterns that are tried in any case to show one that is known to be there,
LEAST_SECONDS = 3.0  # if that takes no longer
TRY_WORDS = 4  # times longer than through the receiver: the judge looks at it as well
REST_BITS = 8  # of the resting wire, in which flips are tried too
BURST_SPAN = 24  # within which an example of six flips is looked for
FD_MOST, FLEXRAY_MOST = 4, 7
SUMS = {"lin": (lin_patterns, 8, 0.5), "sent": (sent_patterns, 6, 3.0)}  # method, most flips, seconds a flip
CAN_METHOD = "exact look-up of every pattern, flips behind the frame included"
RECEIVER = "every pattern put through the receiver"


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What looking at all patterns of up to k flips in one frame gave.

    Attributes:
        counts: number of flips → undetected patterns, as far as they were counted.
        example: one that passes, with fewest flips; None if there is none, or none was put together.
        reached: all patterns of up to so many flips were decided.
        method: how.
        needs_s: seconds that the flips beyond ``reached`` would take; 0 if none are left, infinity: not known.
    """

    counts: Mapping[int, int] = field(default_factory=dict)
    example: Counterexample | None = None
    reached: int
    method: str
    needs_s: float = 0.0

    @property
    def passing(self) -> bool:
        """Whether any pattern passes."""
        return any(self.counts.values())


def look_at(frame: object, up_to: int, *, same_end: bool = False, budget_s: float = 20.0) -> Look:
    """Decide all patterns of up to so many flips in one frame, fewest flips first, until one passes.

    Args:
        frame: of any network.
        up_to: flips.
        same_end: count only what is accepted at the sender's own end (classic CAN).
        budget_s: seconds, by fixed costs, that may be spent.
    """
    from framesim.judging import encode

    sent = encode(frame)
    name = base_name(network_of(frame).name)
    if name == "can":
        return _can(sent, up_to, same_end, budget_s)
    if name == "can-fd":
        return _listed(sent, up_to, budget_s)
    if name in SUMS:
        count, most, cost = SUMS[name]
        return _counted(sent, up_to, budget_s, count, most, cost, "exact count over all states of the receiver")
    if name == "flexray":
        method = "exact count of the words that pass header CRC and frame CRC together"
        return _counted(sent, up_to, budget_s, flexray_patterns, FLEXRAY_MOST, 0.5, method)
    return _through(sent, up_to, budget_s)


def look_seconds(sent: WireFrame, up_to: int) -> float:
    """Return what a look at one frame takes by the method of its network, as far as that reaches; not classic CAN."""
    name = base_name(network_of(sent.frame).name)
    if name == "can-fd":
        return sum(_fd_seconds(sent, flips) for flips in range(1, min(up_to, FD_MOST) + 1))
    if name in SUMS:
        return SUMS[name][2] * min(up_to, SUMS[name][1])
    return through_seconds(sent, up_to)


def _can(sent: WireFrame, up_to: int, same_end: bool, budget_s: float) -> Look:
    if CAN_SECONDS[1] > budget_s:
        return Look(reached=0, method=CAN_METHOD, needs_s=_can_seconds(1, up_to))
    line = line_of(sent)
    tree = same_content(line)
    counts: dict[int, int] = {}
    spent = 0.0
    for flips in range(1, min(up_to, MOST_FLIPS) + 1):
        spent += CAN_SECONDS[flips]
        if spent > budget_s:
            return Look(counts=counts, reached=flips - 1, method=CAN_METHOD, needs_s=_can_seconds(flips, up_to))
        found = undetected_patterns(line, flips, tree=tree)
        kept = [pattern for pattern in found if not same_end or pattern.end == line.accept_at]
        counts[flips] = len(kept)
        if kept:
            return Look(counts=counts, example=_first(sent, kept), reached=flips, method=CAN_METHOD)
    if up_to <= MOST_FLIPS:
        return Look(counts=counts, reached=up_to, method=CAN_METHOD)
    counts[6] = counts_by_flips(line, 6, tree=tree).by_flips(same_end=same_end)[6]
    example = None
    if counts[6]:
        bursts = undetected_bursts(line, BURST_SPAN, examples=1000, tree=tree).examples
        six = [Pattern(tuple(each.first + bit for bit in each.offsets), 0) for each in bursts if len(each.offsets) == 6]
        example = _first(sent, six, end=line.accept_at - 1 if same_end else None)
    needs_s = 0.0 if up_to == 6 or counts[6] else _can_seconds(7, up_to)
    return Look(counts=counts, example=example, reached=6, method=CAN_METHOD, needs_s=needs_s)


def _can_seconds(first: int, up_to: int) -> float:
    return sum(CAN_SECONDS[5] * float(ONE_FLIP_MORE) ** (flips - 5) for flips in range(first, up_to + 1))


def _first(sent: WireFrame, patterns: list[Pattern], *, end: int | None = None) -> Counterexample | None:
    """Return a counterexample, one with all flips within the frame if possible; ``end``: the bit it is accepted at."""
    ordered = sorted(patterns, key=lambda pattern: (pattern.flips[-1] >= len(sent), pattern.flips))
    found = (of_frame(sent, pattern.flips) for pattern in ordered)
    return next((each for each in found if each is not None and end in (None, each.valid_at)), None)


def _listed(sent: WireFrame, up_to: int, budget_s: float) -> Look:
    counts: dict[int, int] = {}
    method = "every pattern tried against the states of the receiver, flips behind the frame included"
    spent = 0.0
    for flips in range(1, up_to + 1):
        cost = _fd_seconds(sent, flips)
        spent += cost
        if flips > FD_MOST or spent > budget_s:
            needs_s = sum(_fd_seconds(sent, more) for more in range(flips, up_to + 1))
            return Look(counts=counts, reached=flips - 1, method=method, needs_s=needs_s)
        found = list(can_fd.undetected_patterns(sent, flips)[flips])
        counts[flips] = len(found)
        if found:
            return Look(counts=counts, example=_first(sent, found), reached=flips, method=method)
    return Look(counts=counts, reached=up_to, method=method)


def _fd_seconds(sent: WireFrame, flips: int) -> float:
    return 5e-9 * len(sent) * comb(len(sent) + can_fd.REST_BITS, flips)


def _counted(
    sent: WireFrame,
    up_to: int,
    budget_s: float,
    count: Callable[..., Mapping[int, int]],
    most: int,
    cost: float,
    method: str,
) -> Look:
    reach = min(up_to, most)
    if cost * reach > budget_s:
        needs_s = cost * reach + (0.0 if reach == up_to else through_seconds(sent, up_to, first=reach + 1))
        tried = _through(sent, up_to, budget_s)  # a few flips may be tried one by one meanwhile
        return replace(tried, needs_s=min(needs_s, tried.needs_s))
    found = count(sent, reach)
    fewest = next((flips for flips in range(1, reach + 1) if found[flips]), None)
    if fewest is None:
        needs_s = 0.0 if reach == up_to else through_seconds(sent, up_to)
        return Look(counts=dict(found), reached=reach, method=method, needs_s=needs_s)
    counts = {flips: found[flips] for flips in range(1, fewest + 1)}
    return Look(counts=counts, example=_hunted(sent, fewest, budget_s), reached=fewest, method=method)


def _through(sent: WireFrame, up_to: int, budget_s: float) -> Look:
    counts: dict[int, int] = {}
    spent = 0.0
    for flips in range(1, up_to + 1):
        spent += _try_seconds(sent) * comb(len(sent) + REST_BITS, flips)
        if spent > budget_s:
            tries = max(1, int(budget_s / TRY_WORDS / _try_seconds(sent)))
            example = next(filter(None, islice(_words(sent, up_to), tries)), None)
            if example is not None:
                counts[len(example.flips)] = 1
            needs_s = through_seconds(sent, up_to, first=flips)
            return Look(counts=counts, example=example, reached=flips - 1, method=RECEIVER, needs_s=needs_s)
        example = _tried(sent, flips, comb(len(sent) + REST_BITS, flips))
        counts[flips] = int(example is not None)
        if example is not None:
            return Look(counts=counts, example=example, reached=flips, method=RECEIVER)
    return Look(counts=counts, reached=up_to, method=RECEIVER)


def through_seconds(sent: WireFrame, up_to: int, *, first: int = 1) -> float:
    """Return how long all patterns of ``first`` to ``up_to`` flips take that go through the receiver, roughly."""
    return _try_seconds(sent) * float(sum(comb(len(sent) + REST_BITS, flips) for flips in range(first, up_to + 1)))


def _try_seconds(sent: WireFrame) -> float:
    return SECONDS_A_BIT * len(sent)


def _hunted(sent: WireFrame, flips: int, budget_s: float) -> Counterexample | None:
    """Return a pattern of so many flips that is known to exist: a word of the CRC, or the first found by trying."""
    tries = int(budget_s / _try_seconds(sent))
    words = islice(_words(sent, flips), max(1, tries // TRY_WORDS))
    example = next((each for each in words if each is not None), None)
    return example or _tried(sent, flips, max(tries, min(FEWEST_TRIES, int(LEAST_SECONDS / _try_seconds(sent)))))


def _tried(sent: WireFrame, flips: int, most: int) -> Counterexample | None:
    from framesim.judging import run_receiver

    spec = network_of(sent.frame)
    wire = sent.bits + bitarray([spec.layout.idle]) * REST_BITS
    for _, places in zip(range(most), combinations(range(len(wire)), flips), strict=False):
        seen = bitarray(wire)
        for place in places:
            seen.invert(place)
        reception = run_receiver(spec, seen, strict=True).finish()
        if reception.accepted and reception.frame != sent.frame:
            example = of_frame(sent, places)
            if example is not None:
                return example
    return None


def _words(sent: WireFrame, up_to: int) -> Iterator[Counterexample | None]:
    """Yield what becomes of the lightest word of each of the frame's CRCs, wherever it fits; longest CRC first."""
    spec = network_of(sent.frame)
    inserted = set(sent.inserted)
    wire: dict[str, list[int]] = {}
    for name, span in zip(sent.fields, sent.spans, strict=True):
        wire.setdefault(name, []).extend(place for place in range(span.start, span.stop) if place not in inserted)
    guards = [(item.name, item.guard) for item in spec.layout.fields if item.guard and item.guard.code]
    for name, guard in sorted(guards, key=lambda pair: -crc(str(pair[1].code)).width):
        if name not in wire:
            continue
        code = crc(str(guard.code))
        places = [place for covered in guard.covers for place in wire.get(covered, [])] + wire[name]
        if len(places) <= code.width or len(wire[name]) != code.width:
            continue
        try:
            pattern = code.undetected_pattern(len(places) - code.width)
        except NotFeasible:
            continue
        if len(pattern) > up_to:
            continue
        first = pattern[0]
        for shift in range(len(places) - (pattern[-1] - first)):
            yield of_frame(sent, sorted(places[place - first + shift] for place in pattern))
