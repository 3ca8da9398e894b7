"""The residual error of one frame, by the method that its network has."""

from collections.abc import Callable
from typing import Any

from framesim.coverage.linear.answer import FrameResidual
from framesim.coverage.linear.can_fd import can_fd_residual
from framesim.coverage.linear.ethernet import ethernet_residual
from framesim.coverage.linear.flexray import flexray_residual
from framesim.coverage.linear.lin import lin_residual
from framesim.coverage.linear.sent import sent_residual
from framesim.errors import NotFeasible
from framesim.networks.can_fd import CanFdFrame
from framesim.networks.ethernet import EthernetFrame
from framesim.networks.flexray import FlexRayFrame
from framesim.networks.lin import LinFrame
from framesim.networks.sent import SentFrame
from framesim.wire import WireFrame

__all__ = ["residual_of"]

METHODS: dict[type, Callable[..., FrameResidual]] = {
    CanFdFrame: can_fd_residual,
    EthernetFrame: ethernet_residual,
    FlexRayFrame: flexray_residual,
    LinFrame: lin_residual,
    SentFrame: sent_residual,
}


def residual_of(sent: WireFrame, channel: Any, *, most_flips: int | None = None) -> FrameResidual:
    """Return P(undetected) of one frame at one receiver that is disturbed alone; exact, or between certain limits.

    Args:
        sent: a frame of LIN, FlexRay, CAN FD (either format), Ethernet or SENT.
        channel: ``Scatter``; on LIN and SENT also a channel with a few states (``GilbertElliott``, ``Bursts``).
        most_flips: up to how many flips undetected patterns are counted; None: as the network's method does.

    Raises:
        NotFeasible: no method covers this network, or not on this channel; the message says why.
    """
    method = METHODS.get(type(sent.frame))
    if method is None:
        raise NotFeasible(f"residual of {sent.network}: covered here are LIN, FlexRay, CAN FD, Ethernet and SENT")
    if most_flips is None:
        return method(sent, channel)
    if isinstance(sent.frame, EthernetFrame):
        raise NotFeasible(f"most_flips={most_flips}: undetected patterns of Ethernet frames are not counted one by one")
    return method(sent, channel, most_flips=most_flips)
