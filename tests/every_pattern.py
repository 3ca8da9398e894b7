"""Every flip pattern of a frame through the reference receiver: the slow road that exact methods are held against."""

from collections import Counter
from itertools import combinations
from math import comb
from typing import NamedTuple

from bitarray import bitarray

from framesim.judging import run_receiver
from framesim.networks.network import Network
from framesim.networks.registry import configured, network
from framesim.wire import WireFrame


class Tried(NamedTuple):
    """Counts over all patterns of so many flips, each before the receiver had accepted."""

    undetected: int
    delivered: int
    unseen: int
    first: "Counter[str]"


def receiver_of(sent: WireFrame) -> Network:
    return configured(network(sent.network), sent.frame)


def try_all(sent: WireFrame, flips: int, *, rest_bits: int = 0, found: Network | None = None) -> Tried:
    """Judge every pattern of ``flips`` flips in the frame and ``rest_bits`` bits after it."""
    found = receiver_of(sent) if found is None else found
    undetected = delivered = unseen = 0
    first: Counter[str] = Counter()
    wire = sent.bits + bitarray([found.layout.idle]) * rest_bits
    for places in combinations(range(len(wire)), flips):
        seen = bitarray(wire)
        for place in places:
            seen.invert(place)
        reception = run_receiver(found, seen, strict=True).finish()
        if reception.accepted:
            if not places or reception.valid_at >= places[-1]:
                undetected += reception.frame != sent.frame
                delivered += reception.frame == sent.frame
        elif reception.check is not None:
            first[reception.check] += 1
        else:
            unseen += 1
    return Tried(undetected, delivered, unseen, first)


def idle_flips_included(accepted, n_bits: int, flips: int) -> int:
    """Return the patterns among the frame's ``n_bits`` bits, those with flips after acceptance included.

    ``accepted[end, flips]`` counts patterns whose last flip comes before the end.
    """
    return round(
        sum(
            accepted[end, flips - late] * comb(n_bits - end, late)
            for end in range(n_bits + 1)
            for late in range(flips + 1)
        )
        + accepted[n_bits + 1 :, flips].sum()
    )
