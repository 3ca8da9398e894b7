"""How often sparks make a receiver slip: frames beside an engine, read with edges followed and with edges ignored."""

import dataclasses
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from bitarray import bitarray

from framesim import __version__
from framesim.coverage.scenario import Scenario
from framesim.coverage.traffic import Traffic
from framesim.disturbance import Ignition, RecordedWaveform
from framesim.disturbance.resync import GRID_HZ, BitTiming, read_beside, resynchronised, samples_beside
from framesim.errors import BadArgument, check_range
from framesim.judging import judge
from framesim.words import Outcome

__all__ = ["ResyncStudy", "spark_slips"]

_FRAMES_AT_ONCE = 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class ResyncStudy:
    """Frames beside an engine, read by a receiver that follows edges and by one that does not.

    Attributes:
        frames: frames sent.
        toggled: frames in which the comparator left the sent level; only these can be disturbed.
        fixed: outcomes of disturbed frames at the receiver that does not follow edges.
        following: the same at the one that does.
        slipped: frames that the latter read with another number of bits.
        severity: of the engine; of a recording, its file.
        jump: quanta that an edge may shift.
        quanta: in a bit.
        seed: of the engine.
        partial: the run was interrupted; the counts cover the frames sent until then.
    """

    frames: int
    toggled: int
    fixed: Mapping[Outcome, int]
    following: Mapping[Outcome, int]
    slipped: int
    severity: str
    jump: int
    quanta: int
    seed: int
    partial: bool = False

    def to_json(self) -> dict[str, Any]:
        """Return the counts, ready for JSON."""
        return {
            "frames": self.frames,
            "toggled": self.toggled,
            "disturbed_fixed": sum(self.fixed.values()),
            "disturbed_following": sum(self.following.values()),
            "fixed": {outcome.value: self.fixed.get(outcome, 0) for outcome in Outcome},
            "following": {outcome.value: self.following.get(outcome, 0) for outcome in Outcome},
            "slipped": self.slipped,
            "severity": self.severity,
            "jump": self.jump,
            "quanta": self.quanta,
            "seed": self.seed,
            "partial": self.partial,
            "version": __version__,
        }


def spark_slips(scenario: Scenario, *, frames: int = 20_000, timing: BitTiming | None = None) -> ResyncStudy:
    """Send a scenario's frames beside its engine, and read those whose comparator toggled with and without edges.

    A ``KeyboardInterrupt`` ends the run; the study then covers the frames sent until then and says that it is partial.

    Args:
        scenario: its disturbance must be an engine, of which the first severity counts, or a recording.
        frames: how many of its frames.
        timing: how edges are followed.

    Raises:
        BadArgument: a value is out of range, or neither disturbs the scenario.
    """
    check_range("frames", frames, 1, 10**8, base="d")
    cause = scenario.disturbance
    if isinstance(cause, Ignition):
        cause = dataclasses.replace(cause, severity=scenario.severities[0])
    elif not isinstance(cause, RecordedWaveform):
        raise BadArgument("disturbance: expected kind ignition or waveform")
    timing = timing or BitTiming()
    timing.check(scenario.link)
    slots = scenario.slots if scenario.plays_once else range(frames)
    frames = min(frames, len(slots))
    traffic, sums, done, partial = Traffic(scenario), _Part(), 0, False
    try:
        for first in range(0, frames, _FRAMES_AT_ONCE):
            stop = min(first + _FRAMES_AT_ONCE, frames)
            part = _spark_part(scenario, cause, timing, traffic, slots.start + first, slots.start + stop)
            sums, done = sums + part, stop
    except KeyboardInterrupt:
        partial = True
    return ResyncStudy(
        frames=done,
        toggled=sums.toggled,
        fixed=dict(sums.fixed),
        following=dict(sums.following),
        slipped=sums.slipped,
        severity=cause.severity if isinstance(cause, Ignition) else cause.file,
        jump=timing.jump,
        quanta=timing.quanta,
        seed=scenario.seed,
        partial=partial,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """Counts of some frames; see ``ResyncStudy``."""

    toggled: int = 0
    slipped: int = 0
    fixed: "Counter[Outcome]" = field(default_factory=Counter)
    following: "Counter[Outcome]" = field(default_factory=Counter)

    def __add__(self, other: "_Part") -> "_Part":
        return _Part(
            toggled=self.toggled + other.toggled,
            slipped=self.slipped + other.slipped,
            fixed=self.fixed + other.fixed,
            following=self.following + other.following,
        )


def _spark_part(
    scenario: Scenario, cause: Ignition | RecordedWaveform, timing: BitTiming, traffic: Traffic, first: int, stop: int
) -> _Part:
    """Read the frames of the slots ``first .. stop - 1``."""
    link = scenario.link
    bits = (traffic.first_bit(first), traffic.first_bit(stop))
    if isinstance(cause, RecordedWaveform):
        near = traffic.busy(first, stop - first)
        hits = cause.walk(link, *bits, scenario.seed, traffic.levels, busy=near)
    else:
        hits = link.walk(cause, *bits, scenario.seed, traffic.levels)
    slots, offset = traffic.slots_of(hits.toggled)
    inside = (offset >= 0) & (offset < scenario.sender.most_bits)
    starts = traffic.sent_at(first, stop - first)
    toggled = n_slipped = 0
    fixed: Counter[Outcome] = Counter()
    following: Counter[Outcome] = Counter()
    for slot in np.unique(slots[inside]).tolist():
        sent = traffic.wire(slot)
        if not (offset[inside & (slots == slot)] < len(sent)).any():
            continue
        toggled += 1
        begin = int(starts[slot - first])
        follows, stays = _read(scenario, cause, timing, sent.bits, begin)
        if stays != sent.bits:
            fixed[judge(sent, stays).outcome] += 1
        if follows != sent.bits:
            following[judge(sent, follows).outcome] += 1
            n_slipped += len(follows) != len(sent)
    return _Part(toggled=toggled, slipped=n_slipped, fixed=fixed, following=following)


def _read(
    scenario: Scenario, cause: Ignition | RecordedWaveform, timing: BitTiming, sent: bitarray, begin: int
) -> tuple[bitarray, bitarray]:
    """Return what the two receivers read of a frame that begins with a global bit."""
    link, begin_s = scenario.link, begin / scenario.link.bit_rate
    if isinstance(cause, RecordedWaveform):
        wave = cause.over(begin_s, GRID_HZ, samples_beside(link, sent))
        return read_beside(link, timing, wave, sent, begin)
    end_s = (begin + len(sent) + 16) / link.bit_rate
    rings = link.rings(cause.events(begin_s - link.reach_s(cause), end_s, scenario.seed))
    return resynchronised(link, timing, rings, sent, begin)
