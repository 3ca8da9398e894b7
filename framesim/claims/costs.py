"""What computing P(undetected) of frames takes, roughly: fixed figures, so that a budget means the same everywhere."""

from collections.abc import Sequence
from typing import Any

from framesim.claims.wording import counted, duration
from framesim.errors import NotFeasible
from framesim.judging import encode
from framesim.networks.registry import base_name, network_of

__all__ = ["expect_affordable", "residual_seconds"]

LIN_SECONDS = 1e-4  # times the square of the bits on the wire
STATES_SECONDS = 1.5  # on LIN: times longer, beside the square of the number of states
ETHERNET_SECONDS = 12.0  # all weights of CRC-32 are counted, once for a length
SECONDS_A_FRAME = {"can": 1.0, "can-fd": 0.6, "sent": 1.0, "flexray": 1.5, "ethernet": ETHERNET_SECONDS}
OTHERS = 4.0


def residual_seconds(frame: Any, channel: Any) -> float:
    """Return about how many seconds of one processor the residual of a frame on a channel takes.

    Args:
        frame: of any network.
        channel: what flips the bits; its number of states matters.
    """
    name = base_name(network_of(frame).name)
    states = len(channel.matrices()[0])
    if name == "lin":
        return LIN_SECONDS * len(encode(frame)) ** 2 * (1.0 if states == 1 else STATES_SECONDS * states**2)
    return SECONDS_A_FRAME.get(name, OTHERS) * states**2


def expect_affordable(frames: Sequence[Any], channel: Any, budget_s: float) -> None:
    """Raise before any work if the residual of each of these frames does not fit the budget.

    Raises:
        NotFeasible: so it is.
    """
    longest = max(frames, key=lambda frame: len(getattr(frame, "payload", b"")))
    needs_s = len(frames) * residual_seconds(longest, channel)
    if needs_s > budget_s:
        raise NotFeasible(
            f"the residual of {counted(len(frames), 'frame')} takes {duration(needs_s)}; budget_s is {budget_s:g}"
        )
