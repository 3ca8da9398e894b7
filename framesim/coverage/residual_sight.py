"""What becomes of the residual of one receiver when there are several, or when all nodes see the same flips."""

from dataclasses import replace
from typing import Any

from framesim.coverage.residual_record import Residual
from framesim.coverage.sight import ONE_ALONE, Sight, at_least_flips, at_one_of, objected

__all__ = ["FLAGGING", "noticed_by_the_sender", "seen_as"]

FLAGGING = ("can", "can-fd", "can-xl")  # a node that notices an error stops the frame for all
# A sender that notices a flip answers with six equal bits and then rests. Six equal bits break the stuffing rule, and
# so does the rest within the at least 15 bits that a frame still needs; so two more flips are needed at the least.
FEWEST_COMMON = 3


def seen_as(point: Residual, sight: Sight, channel: Any, *, network: str, n_bits: int, answering: bool) -> Residual:
    """Return the residual as it is for so many receivers, from that of one receiver disturbed alone.

    Args:
        point: of one receiver.
        sight: how many there are, and whom a flip reaches.
        channel: what flips the bits.
        network: as in ``framesim.networks()``.
        n_bits: of the longest frame.
        answering: the receivers take part in the bus: one that notices an error stops the frame for all.

    Raises:
        NotFeasible: the channel has no states to be followed.
    """
    if sight == ONE_ALONE:
        return point
    if sight.reach == "common":
        return _common(point, network)
    several = f"{point.basis}; at least one of {sight.receivers} receivers"
    high = at_one_of(sight.receivers, point.high)
    if not answering and point.frames == 1:
        return replace(
            point,
            probability=None if point.probability is None else at_one_of(sight.receivers, point.probability),
            low=at_one_of(sight.receivers, point.low),
            high=high,
            basis=f"{several}, none of which answers",
        )
    # The mean over frames of 1 - (1 - u)^N is at most 1 - (1 - mean u)^N; what is less is only limited from below.
    return replace(
        point,
        probability=None if point.probability is None else high,
        low=_fewest(point, sight.receivers, channel, n_bits, answering),
        high=high,
        method="bounded",
        basis=f"{several}: above, as if nobody answered; below, as if every other one that notices anything stopped it",
    )


def _fewest(point: Residual, receivers: int, channel: Any, n_bits: int, answering: bool) -> float:
    """Return a lower limit: one receiver accepts wrong, and no other one notices anything."""
    if answering and point.confidence == 1 and point.by_check and point.frames == 1:
        return objected(receivers, point.low, sum(point.by_check.values()) + (point.other_end or 0.0))
    # Frames of a population differ in how often they are hit, but no frame more often than the longest.
    hit = min(1.0, at_least_flips(channel, n_bits, 1))
    return min(1.0, receivers * point.low * (1 - hit) ** (receivers - 1))


def _common(point: Residual, network: str) -> Residual:
    if network != "lin":
        return replace(point, basis=f"{point.basis}; all receivers see the same flips, and no sender reads back")
    return replace(
        point,
        probability=point.high,
        low=0.0,
        method="bounded",
        basis=f"{point.basis}; a publisher that reads back may stop the frame, which only lessens it",
    )


def noticed_by_the_sender(channel: Any, n_bits: int) -> Residual:
    """Return what is left where the sender, too, sees every flip and can flag it.

    Raises:
        NotFeasible: the channel has no states to be followed.
    """
    return Residual(
        probability=None,
        low=0.0,
        high=at_least_flips(channel, n_bits, FEWEST_COMMON),
        confidence=1.0,
        method="bounded",
        basis=f"the sender reads back every flip and flags it; to hide that takes {FEWEST_COMMON} flips or more, and "
        "so many are taken to pass",
        channel=channel.describe(),
    )
