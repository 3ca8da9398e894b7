"""Which work computes a campaign of frames. A faster sampler is plugged in here, and nowhere else."""

from typing import Any

from framesim.coverage.campaign.compiled_frames import CompiledFrames, usual_frames
from framesim.coverage.campaign.judged_frames import JudgedFrames
from framesim.coverage.campaign.work import Work
from framesim.coverage.fast.engines import has_compiled
from framesim.coverage.population import Payloads
from framesim.networks.registry import network_of

__all__ = ["frames_work"]


def frames_work(subject: Any, channel: Any, *, frames_per_unit: int | None = None) -> Work:
    """Return the fastest work for a subject and a channel.

    The choice depends on the arguments alone, never on the machine: it is part of a campaign's identity.

    Args:
        subject: a frame of any network, or ``Payloads``.
        channel: flips bits at one receiver.
        frames_per_unit: None: what takes about a second, or less.

    Raises:
        BadArgument: ``frames_per_unit`` out of range.
    """
    if has_compiled(network_of(subject.frame if isinstance(subject, Payloads) else subject), (subject,)):
        n_frames = usual_frames(subject) if frames_per_unit is None else frames_per_unit
        return CompiledFrames(subject=subject, channel=channel, frames_per_unit=n_frames)
    given = {} if frames_per_unit is None else {"frames_per_unit": frames_per_unit}
    return JudgedFrames(subject=subject, channel=channel, **given)
