"""The same frame on both channels, compared.

FlexRay itself compares nothing: it hands both channels' frames up, and an application that gets the same data
twice may compare them. That costs the second channel; a cluster that sends different data on the two carries
20 Mbit/s instead of 10 and has no such check.
"""

from dataclasses import replace

from framesim.networks.flexray.frame import FlexRayFrame
from framesim.networks.receiver import Reception
from framesim.words import Check

__all__ = ["compare_channels", "same_content"]


def same_content(one: FlexRayFrame, other: FlexRayFrame) -> bool:
    """Tell whether two frames say the same, whatever channel each came on."""
    return replace(one, channel="A") == replace(other, channel="A")


def compare_channels(reception_a: Reception, reception_b: Reception, *, need_both: bool = False) -> Reception:
    """Return what a receiver that compares the channels concludes.

    Two valid frames that differ: ``redundancy`` speaks, at the later one's end. One valid frame: it is taken,
    unless ``need_both``; then the other channel's own check speaks, or ``redundancy`` where nothing was seen
    there. No valid frame: the first check to speak on either channel, if any did.

    Args:
        reception_a: what channel A's receiver concluded.
        reception_b: what channel B's receiver concluded, counted on the same bit clock.
        need_both: a frame that only one channel delivered is refused.
    """
    heard = [reception for reception in (reception_a, reception_b) if reception.accepted]
    silent = [reception for reception in (reception_a, reception_b) if not reception.accepted]
    if len(heard) == 2:
        if same_content(reception_a.frame, reception_b.frame):
            return reception_a
        ends = [reception.valid_at for reception in heard if reception.valid_at is not None]
        return Reception(accepted=False, complete=True, check=Check.REDUNDANCY, at=max(ends))
    if heard and not need_both:
        return heard[0]
    objections = [(reception.at, reception.check) for reception in silent if reception.at is not None]
    if objections:
        at, check = min(objections, key=lambda objection: objection[0])
        return Reception(accepted=False, complete=True, check=check, at=at)
    if heard:
        return Reception(accepted=False, complete=True, check=Check.REDUNDANCY, at=heard[0].valid_at)
    return Reception(accepted=False, complete=all(reception.complete for reception in silent))
