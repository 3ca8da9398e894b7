"""Which bits of which frames a scenario's cause flips on its first link, for some slots alone."""

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.scenario import Scenario
from framesim.coverage.traffic import Traffic
from framesim.coverage.windows import FRAMES_AT_ONCE, channel_hits
from framesim.disturbance import Channel, Ignition, PulseTrain, RecordedWaveform

__all__ = ["flipped_frames"]

Places = NDArray[np.int64]


def flipped_frames(scenario: Scenario, traffic: Traffic, first: int, stop: int) -> dict[int, list[int]]:
    """Return the flipped bits of every disturbed frame of the slots ``first .. stop - 1``, by slot."""
    slots, offset = traffic.slots_of(_flipped(scenario, traffic, first, stop))
    found: dict[int, list[int]] = {}
    for slot, place in zip(slots.tolist(), offset.tolist(), strict=True):
        if first <= slot < stop and 0 <= place < len(traffic.wire(slot)):
            found.setdefault(slot, []).append(place)
    return found


def _flipped(scenario: Scenario, traffic: Traffic, first: int, stop: int) -> Places:
    """Return the flipped bits of the wire, as ``measure_coverage`` draws them."""
    cause, link = scenario.disturbance, scenario.link
    bits = (traffic.first_bit(first), traffic.first_bit(stop))
    if isinstance(cause, Ignition):
        return link.walk(cause, *bits, scenario.seed, traffic.levels).flipped
    if isinstance(cause, PulseTrain):
        return cause.walk(link, *bits, scenario.seed, traffic.levels).flipped
    if isinstance(cause, RecordedWaveform):
        near = traffic.busy(first, stop - first)
        return cause.walk(link, *bits, scenario.seed, traffic.levels, busy=near).flipped
    assert isinstance(cause, Channel)
    unit, count = first // FRAMES_AT_ONCE, min(FRAMES_AT_ONCE, scenario.frames - first)
    hits = channel_hits(scenario, cause, unit, count)
    return np.asarray(traffic.sent_at(first, count)[hits.frame] + hits.bit)
