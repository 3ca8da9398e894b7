"""What becomes of the residual of one receiver when there are several, or when all nodes see the same flips."""

from dataclasses import replace
from typing import Any

from framesim.coverage.residual_record import Residual
from framesim.coverage.sight import ONE_ALONE, Sight, at_least_flips, at_one_of, objected

__all__ = ["seen_as"]

FLAGGING = ("can", "can-fd", "can-xl")  # a node that notices an error stops the frame for all
READING_BACK = (*FLAGGING, "lin")  # the sender compares the wire with what it sends
# A sender that notices a flip answers with six equal bits and then rests. Six equal bits break the stuffing rule, and
# so does the rest within the at least 15 bits that a frame still needs; so two more flips are needed at the least.
FEWEST_COMMON = 3


def seen_as(point: Residual, sight: Sight, channel: Any, *, network: str, n_bits: int) -> Residual:
    """Return the residual as it is for so many receivers, from that of one receiver disturbed alone.

    Args:
        point: of one receiver.
        sight: how many there are, and whom a flip reaches.
        channel: what flips the bits.
        network: as in ``framesim.networks()``.
        n_bits: of the longest frame.

    Raises:
        NotFeasible: flips common to all, on a channel without states.
    """
    if sight == ONE_ALONE:
        return point
    if sight.reach == "common":
        return _common(point, channel, network, n_bits)
    if network not in FLAGGING:
        return replace(
            point,
            probability=None if point.probability is None else at_one_of(sight.receivers, point.probability),
            low=at_one_of(sight.receivers, point.low),
            high=at_one_of(sight.receivers, point.high),
            basis=f"{point.basis}; at least one of {sight.receivers} receivers, none of which can object",
        )
    high = at_one_of(sight.receivers, point.high)
    return replace(
        point,
        probability=_best(point, high, sight.receivers),
        low=_objected(point, point.low, sight.receivers, channel, n_bits),
        high=high,
        method="bounded" if point.confidence == 1 else point.method,
        basis=f"{point.basis}; at least one of {sight.receivers} receivers: above, error flags of the others come too "
        "late; below, any of them stops the frame",
    )


def _best(point: Residual, high: float, receivers: int) -> float | None:
    if point.probability is None:
        return None
    return high if point.confidence == 1 else at_one_of(receivers, point.probability)


def _objected(point: Residual, undetected: float, receivers: int, channel: Any, n_bits: int) -> float:
    """Return a lower limit: one receiver accepts wrong, and no other one notices anything."""
    if point.confidence == 1 and point.by_check and point.frames == 1:
        return objected(receivers, undetected, sum(point.by_check.values()) + (point.other_end or 0.0))
    # Frames of a population differ in how often they are hit, but no frame more often than the longest.
    hit = min(1.0, at_least_flips(channel, n_bits, 1))
    return min(1.0, receivers * undetected * (1 - hit) ** (receivers - 1))


def _common(point: Residual, channel: Any, network: str, n_bits: int) -> Residual:
    if network not in READING_BACK:
        return replace(point, basis=f"{point.basis}; all receivers see the same flips, and no sender reads back")
    if network not in FLAGGING:
        return replace(
            point,
            probability=point.high,
            low=0.0,
            method="bounded",
            basis=f"{point.basis}; a publisher that reads back may stop the frame, which only lessens it",
        )
    return Residual(
        probability=None,
        low=0.0,
        high=at_least_flips(channel, n_bits, FEWEST_COMMON),
        confidence=1.0,
        method="bounded",
        basis=f"the sender reads back every flip and flags it; to hide that takes {FEWEST_COMMON} flips or more, and "
        "so many are taken to pass",
        channel=point.channel,
    )
