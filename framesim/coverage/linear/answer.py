"""What is stated about one frame: the residual error probability, between limits that hold for certain."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf
from typing import Any, Literal

from framesim.codes import crc
from framesim.disturbance.scatter import Scatter
from framesim.errors import BadArgument, NotFeasible, check_number
from framesim.networks.registry import network
from framesim.wire import WireFrame
from framesim.words import Check

__all__ = ["EXACT", "FrameResidual", "bit_error_ratio_of"]

SECONDS_A_STEP = 1e-9  # to move one number of a register table, about
EXACT = 1e-9  #: limits no further apart than this part of the value make it exact


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameResidual:
    """P(undetected) of one frame, sent once, at one receiver that is disturbed alone.

    No chance enters: ``low`` and ``high`` hold for certain.

    Attributes:
        network: as in ``framesim.networks()``.
        low: no smaller than this.
        high: no larger than this.
        method: ``"exact"`` (to nine digits or more), or ``"bounded"`` where something is only limited.
        basis: in words, what was counted and what was only bounded.
        patterns: number of flips → number of undetected patterns on the wire, all of them counted. Flips after the
            frame has become valid do not count. None: not counted.
        by_check: the first check to speak → its probability; None where it was not computed.
        delivered: probability that the frame is accepted as it was sent; None where it was not computed.
        unseen: probability that it is never taken for a frame; None where it was not computed.
    """

    network: str
    low: float
    high: float
    method: Literal["exact", "bounded"]
    basis: str
    patterns: Mapping[int, int] | None = None
    by_check: Mapping[Check, float] | None = None
    delivered: float | None = None
    unseen: float | None = None

    def __post_init__(self) -> None:
        check_number("low", self.low, 0, inf)
        if not self.low <= self.high:
            raise BadArgument(f"high={self.high!r}: must be at least low={self.low!r}")

    @property
    def probability(self) -> float:
        """The value, or the upper limit where it is only bounded: never an understatement."""
        return self.high


def bit_error_ratio_of(channel: Any, sent: WireFrame) -> float:
    """Return the bit error ratio of a channel of independent flips.

    Args:
        channel: any.
        sent: the frame that is asked about.

    Raises:
        NotFeasible: flips on this channel depend on each other, and no method here covers that; the message says
            what it would take.
    """
    if isinstance(channel, Scatter):
        return channel.bit_error_ratio
    kind = type(channel).__name__
    n_states = len(channel.matrices()[0]) if hasattr(channel, "matrices") else 1
    guards = [field.guard for field in network(sent.network).layout.fields if field.guard]
    register_bits = max((crc(guard.code).width for guard in guards if guard.code), default=0)
    held = n_states << register_bits
    size, hours = 8 * held / 2**30, len(sent) * n_states * held * SECONDS_A_STEP / 3600
    raise NotFeasible(
        f"residual of {sent.network} on {kind}: every value of the CRC register ({register_bits} bits) would have to "
        f"be carried along for each of {n_states} channel states, for every place a receiver can be at: at least "
        f"{size:,.3g} GiB and {hours:,.3g} hours for the {len(sent):,} bits of this frame; computed are independent "
        "flips (Scatter)"
    )
