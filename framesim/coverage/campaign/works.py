"""Which work computes a campaign of frames. A faster sampler is plugged in here, and nowhere else."""

from typing import Any

from framesim.coverage.campaign.compiled_frames import CompiledFrames
from framesim.coverage.campaign.judged_frames import JudgedFrames
from framesim.coverage.campaign.work import Work
from framesim.coverage.population import Payloads
from framesim.networks.can import CanFrame

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
    frame = subject.frame if isinstance(subject, Payloads) else subject
    if isinstance(frame, CanFrame):
        # A frame sent over and over takes a tenth of the time that new ones take.
        default = {} if isinstance(subject, Payloads) else {"frames_per_unit": 1 << 20}
        return CompiledFrames(subject=subject, channel=channel, **(default | given))
    return JudgedFrames(subject=subject, channel=channel, **given)
