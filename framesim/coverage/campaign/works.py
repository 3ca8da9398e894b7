"""Which work computes a campaign of frames. A faster sampler is plugged in here, and nowhere else."""

from typing import Any

from framesim.coverage.campaign.judged_frames import JudgedFrames
from framesim.coverage.campaign.sampled_frame import SampledFrame
from framesim.coverage.campaign.sliced_frame import PORTION, SlicedFrame
from framesim.coverage.campaign.work import Work
from framesim.disturbance import ExactFlips
from framesim.networks.can import CanFrame
from framesim.networks.can_fd import CanFdFrame

__all__ = ["frames_work"]


def frames_work(subject: Any, channel: Any, *, frames_per_unit: int | None = None) -> Work:
    """Return the fastest work for a subject and a channel.

    The choice depends on the arguments alone, never on the machine: it is part of a campaign's identity.

    Args:
        subject: a frame of any network, or ``Payloads``.
        channel: flips bits at one receiver.
        frames_per_unit: None: what takes about a second.

    Raises:
        BadArgument: ``frames_per_unit`` out of range.
    """
    given = {} if frames_per_unit is None else {"frames_per_unit": frames_per_unit}
    # A compiled sampler goes first: where it reaches, return a record that offers what ``Work`` asks for. Those that
    # know what was sent take flips within the frame, so exact numbers of them; a channel with states goes on behind it.
    if (
        isinstance(subject, CanFrame | CanFdFrame)
        and isinstance(channel, ExactFlips)
        and (frames_per_unit or PORTION) % PORTION == 0
    ):
        return SlicedFrame(subject=subject, channel=channel, **given)
    if isinstance(subject, CanFrame) and hasattr(channel, "matrices"):
        return SampledFrame(subject=subject, channel=channel, **given)
    return JudgedFrames(subject=subject, channel=channel, **given)
