"""Ethernet's frame as plain bits: the CRC's words exactly, what the other rules do to them between limits.

A receiver that finds the start delimiter where it was sent judges the rest by the CRC, and its words are known
exactly, since the frame ends when the carrier does and cannot change its length. Some of them touch the
length/type field; these may or may not be refused by the rule that length and data agree, so they count in the
upper limit only. Words confined to the pad of a frame whose length is stated, and its check sequence, change
nothing that is handed up.

A receiver may also find a start delimiter earlier, within the preamble, or later, within the data, if flips make
one. What it then reads must have whole bytes and 64 of them at least; the CRC passes for patterns of one certain
syndrome. Patterns of few flips are counted for each such start, more flips are bounded, and both go into the upper
limit.
"""

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from math import comb, exp, fsum, log, log1p
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.codes import Crc, crc
from framesim.codes.macwilliams import transformed
from framesim.codes.syndromes import syndromes
from framesim.codes.undetected import precise_probability
from framesim.coverage.linear.answer import FrameResidual, bit_error_ratio_of
from framesim.coverage.linear.coset import coset_counts, coset_limits
from framesim.coverage.linear.flow import channel_of, follow
from framesim.coverage.linear.framing import Framing, framing, without_guards
from framesim.coverage.linear.gapped import gapped_weights
from framesim.coverage.linear.mixed import precisely
from framesim.disturbance.scatter import Scatter
from framesim.errors import BadArgument
from framesim.networks.ethernet.format import ETHERNET
from framesim.networks.ethernet.frame import is_length
from framesim.networks.layout import Layout
from framesim.wire import WireFrame

__all__ = ["ethernet_residual", "ethernet_starts", "flip_columns"]

LEAST_BITS = 8 * 64  # a shorter frame is refused
TYPES = ("first type", "tag control", "second type")
FEW = 1600  # code word bits up to which four flips are counted for each start elsewhere; else three
SHOWN = 6  # flips up to which the CRC's words are named in the answer


def ethernet_residual(sent: WireFrame, channel: Any) -> FrameResidual:
    """Return limits of the residual error probability of an Ethernet frame as plain bits (not as ternary symbols).

    Takes some ten to twenty seconds for the first frame of a length, since 2^32 dual words are counted.

    Args:
        sent: the frame.
        channel: ``Scatter``.

    Raises:
        BadArgument: not an Ethernet frame.
        NotFeasible: flips on this channel depend on each other.
    """
    if sent.network != ETHERNET.name:
        raise BadArgument(f"sent: expected an Ethernet frame, got one of {sent.network}")
    ratio = bit_error_ratio_of(channel, sent)
    code = _code()
    begin, stop = _span(sent, "destination address")[0], len(sent)
    first, last = _span(sent, *TYPES)
    counts = gapped_weights(code.generator, stop - begin, stop - last, last - first)
    starts = ethernet_starts(sent, ratio)
    by_weight = _by(counts, lambda weight, gap: weight)
    n, gap = stop - begin, last - first
    everything = precisely(lambda p: _sum(by_weight, code.width, p) - (1 - p) ** n, ratio)
    apart = _by(counts, lambda weight, gap: weight - gap)
    untouched = precisely(lambda p: _sum(apart, code.width, p) * (1 - p) ** gap - (1 - p) ** n, ratio)
    same = _pad_only(sent, code, ratio)
    at_start = starts.pop(begin, 0.0)
    elsewhere = _elsewhere(sent, code, by_weight, starts, ratio)
    words = dict(enumerate(transformed(by_weight, n, SHOWN)))
    named = ", ".join(f"{weight}: {words[weight]}" for weight in range(1, SHOWN + 1) if words[weight])
    return FrameResidual(
        network=sent.network,
        low=at_start * max(0.0, untouched - same),
        high=at_start * (everything - same) + elsewhere,
        method="bounded",
        basis=f"all words of {code.name} over {n} bits, by flips {named or 'none'} up to {SHOWN}; those that touch the "
        "length/type field may be refused by its rule and count in high only; added in high: starts found elsewhere "
        f"({elsewhere:.2g})",
    )


def ethernet_starts(sent: WireFrame, ratio: float) -> dict[int, float]:
    """Return where a receiver takes the frame to begin: the first bit after the delimiter → probability.

    Where the rest is a whole number of bytes, 64 at least; elsewhere the length alone has it refused.
    """
    ends = follow(
        _states(), sent.bits, channel_of(Scatter(bit_error_ratio=ratio), "ethernet"), idle=ETHERNET.layout.idle
    )  # fmt: skip
    by_end = ends.accepted.sum(axis=(1, 2))  # the receiver there accepts after the first bit
    return {
        begin: float(by_end[begin + 1])
        for begin in range(len(sent) % 8, len(sent) - LEAST_BITS + 1, 8)
        if by_end[begin + 1]
    }


@lru_cache(maxsize=1)
def _states() -> Framing:
    """Return the states of a receiver that waits for one bit after the delimiter."""
    preamble, delimiter, address, *_ = without_guards(ETHERNET.layout).fields
    one_bit = replace(address, width=1, octets=False)
    layout = Layout(fields=(preamble, delimiter, one_bit), idle=ETHERNET.layout.idle)
    return framing(replace(ETHERNET, layout=layout))


def _code() -> Crc:
    guard = ETHERNET.layout.fields[ETHERNET.layout.place["FCS"]].guard
    assert guard is not None  # the layout's check sequence is one
    assert guard.code is not None
    return crc(guard.code)


def _span(sent: WireFrame, *names: str) -> tuple[int, int]:
    """Return the first wire bit of the fields, and one past their last."""
    spans = [span for name, span in zip(sent.fields, sent.spans, strict=True) if name in names]
    return spans[0].start, spans[-1].stop


def _by(counts: Mapping[tuple[int, int], int], key: Any) -> dict[int, int]:
    grouped: dict[int, int] = {}
    for (weight, gap), count in counts.items():
        grouped[key(weight, gap)] = grouped.get(key(weight, gap), 0) + count
    return grouped


def _sum(by_weight: Mapping[int, int], width: int, p: Any) -> Any:
    """Return the probability that flips make some word of the code, in the working precision."""
    import mpmath  # late: a tenth of a second that light commands need not pay

    library: Any = mpmath
    z, power, reached, total = 1 - 2 * p, library.mpf(1), 0, library.mpf(0)
    for weight in sorted(by_weight):
        power *= z ** (weight - reached)
        reached = weight
        total += by_weight[weight] * power
    return library.ldexp(total, -width)


def _pad_only(sent: WireFrame, code: Crc, ratio: float) -> float:
    """Return the chance of a word that touches nothing but pad and check sequence, where the receiver drops the pad."""
    if not is_length(sent.frame.ethertype):
        return 0.0
    first, stop = _span(sent, "data and pad")
    pad = stop - first - 8 * len(sent.frame.payload)
    if not pad:
        return 0.0
    others = len(sent) - _span(sent, "destination address")[0] - pad - code.width
    return float(precise_probability(code, pad, ratio)) * (1 - ratio) ** others


def _elsewhere(
    sent: WireFrame, code: Crc, by_weight: Mapping[int, int], starts: Mapping[int, float], ratio: float
) -> float:
    """Return an upper limit of the chance that a frame is accepted that begins elsewhere."""
    begin, stop = _span(sent, "destination address")[0], len(sent)
    n = stop - begin
    mean = n * ratio
    most = min(n, 400, int(mean + 12 * mean**0.5 + 30))
    limits = coset_limits(by_weight, code.width, n, most)
    columns = flip_columns(code, stop)
    # The chance of any one syndrome is at most that of 0, and less for a longer stretch (ratio up to 1/2).
    any_syndrome = float(_sum_as_float(by_weight, code.width, ratio)) if ratio <= 0.5 else 1.0
    parts = []
    for first, chance in starts.items():
        length = stop - first
        wanted = code.register_after(sent.bits[first:]) ^ code.residue
        counted = 2 if chance < ratio / 10 else 4 if length <= FEW else 3
        known = coset_counts(columns[:length], wanted, counted)
        longer = _extended(limits, max(0, length - n))
        numbers = [*known, *longer[len(known) :]]
        passed = fsum(_chance(number, flips, length, ratio) for flips, number in enumerate(numbers))
        passed += _more_than(most, length, ratio)
        parts.append(chance * min(passed, any_syndrome if first < begin else 1.0))
    return fsum(parts)


def flip_columns(code: Crc, n: int) -> NDArray[np.uint64]:
    """Return what a flip leaves in the register at the end, by its place counted from the last bit.

    Bits enter the register at its top, so the last one is already multiplied by x^width.
    """
    return syndromes(code.generator, n + code.width)[code.width :]


def _sum_as_float(by_weight: Mapping[int, int], width: int, ratio: float) -> float:
    return fsum(count * (1 - 2 * ratio) ** weight for weight, count in by_weight.items()) * 2.0**-width


def _extended(limits: list[int], more: int) -> list[int]:
    """Return the limits for ``more`` positions in addition: any flips there, and the others have one syndrome again."""
    if not more:
        return limits
    return [
        sum(comb(more, there) * limits[flips - there] for there in range(min(more, flips) + 1))
        for flips in range(len(limits))
    ]


def _chance(number: int, flips: int, n: int, ratio: float) -> float:
    """Return the chance of one of ``number`` patterns of so many flips; by logarithms, for the numbers are huge."""
    if not number or not 0 < ratio < 1:
        return 0.0
    return exp(min(0.0, log(number) + flips * log(ratio) + (n - flips) * log1p(-ratio)))


def _more_than(flips: int, n: int, ratio: float) -> float:
    """Return the chance of more than so many flips."""
    from scipy.special import bdtrc  # late: scipy loads slowly

    return float(bdtrc(flips, n, ratio))
