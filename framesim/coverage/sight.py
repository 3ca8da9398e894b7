"""Who sees a disturbance: one receiver, several each with flips of its own, or everybody, the sender included."""

from dataclasses import dataclass
from math import expm1, log1p
from typing import Any, Literal

import numpy as np

from framesim.errors import BadArgument, NotFeasible, check_range

__all__ = ["ONE_ALONE", "Reach", "Sight", "at_least_flips", "at_one_of", "objected"]

Reach = Literal["local", "common"]
MOST_RECEIVERS = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """Whom a flip reaches.

    Attributes:
        receivers: nodes that listen, besides the sender.
        reach: ``local``: each receiver has flips of its own, and the sender has none. ``common``: all nodes, the
            sender's read-back included, see the same flips.

    Raises:
        BadArgument: an argument out of range.
    """

    receivers: int = 1
    reach: Reach = "local"

    def __post_init__(self) -> None:
        check_range("receivers", self.receivers, 1, MOST_RECEIVERS, base="d")
        if self.reach not in ("local", "common"):
            raise BadArgument(f"disturbance={self.reach!r}: expected 'local' or 'common'")

    @property
    def text(self) -> str:
        """Say it in words."""
        if self.reach == "common":
            return "all nodes alike, the sender's read-back included"
        return "one receiver alone" if self.receivers == 1 else f"each of {self.receivers} receivers by its own flips"


ONE_ALONE = Sight()


def at_one_of(receivers: int, undetected: float) -> float:
    """Return the probability that at least one of several receivers accepts wrong, each by its own flips.

    Nobody's objection is taken into account, so it is the value where no node can object and a limit elsewhere.
    """
    return 1.0 if undetected >= 1 else -expm1(receivers * log1p(-undetected))


def objected(receivers: int, undetected: float, detected: float) -> float:
    """Return the probability that at least one of several receivers accepts wrong and none of the others objects.

    With P(detected) d and P(undetected) u at each: (1 - d)^N - (1 - d - u)^N, written without a difference of nearly
    equal numbers.

    Args:
        receivers: N.
        undetected: u, at one receiver.
        detected: d, at one receiver: a check spoke there, so that it sends an error flag.
    """
    quiet = max(0.0, 1 - detected)
    if undetected >= quiet:
        return quiet**receivers
    return quiet**receivers * -expm1(receivers * log1p(-undetected / quiet))


def at_least_flips(channel: Any, n_bits: int, fewest: int) -> float:
    """Return the probability of at least so many flips among the first bits of a frame.

    Args:
        channel: with ``matrices()``; met in the long run.
        n_bits: bits looked at.
        fewest: flips.

    Raises:
        NotFeasible: the channel has no states.
    """
    if not hasattr(channel, "matrices"):
        raise NotFeasible(f"channel={type(channel).__name__}: has no states to be followed")
    start, step, error = (np.asarray(part, np.float64) for part in channel.matrices())
    counted = np.zeros((fewest + 1, len(start)))
    counted[0] = start
    for _ in range(n_bits):
        flipped, kept = counted * error, counted * (1 - error)
        flipped[-2] += flipped[-1]  # enough is enough
        kept[1:] += flipped[:-1]
        counted = kept @ step
    return float(counted[-1].sum())
