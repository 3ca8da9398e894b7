"""One frame sent over and over, beside a cause in volts or a recording of one: what is read wrong, who says so."""

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.scenario import Scenario
from framesim.disturbance import CanLink, Ignition, PulseTrain, RecordedWaveform
from framesim.disturbance.rings import Rings
from framesim.disturbance.transients import Transients
from framesim.disturbance.waveform import MOST_SAMPLES, Waveform
from framesim.disturbance.waveform_link import recorded_hits
from framesim.errors import BadArgument, NotFeasible, check_number
from framesim.judging import encode, judge
from framesim.wire import WireFrame

__all__ = ["FrameStream", "StreamHits", "caused_hits", "record_cause", "recorded_stream_hits", "transients_of"]

Places = NDArray[np.int64]
INTERMISSION = 3  # recessive bits between two frames
JOINED_S = 1e-3  # loud bits with a shorter pause between them belong to one active stretch


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameStream:
    """The same frame, sent again and again with three recessive bits between.

    Attributes:
        sent: the frame.
        first_bit: global bit at which one of the frames begins.

    Raises:
        BadArgument: a frame whose bits differ in length or in levels from those of the link.
    """

    sent: WireFrame
    first_bit: int = 0

    @classmethod
    def of(cls, frame: Any, first_bit: int = 0) -> "FrameStream":
        """Return the stream of a classic CAN frame, or of a CAN FD frame without bit rate switch."""
        sent = encode(frame)
        if sent.network not in ("can", "can-fd") or getattr(frame, "bit_rate_switch", False):
            raise BadArgument(
                f"network={sent.network}: only frames of one bit rate on a CAN pair can be laid beside a waveform: "
                "can, or can-fd without bit rate switch"
            )
        return cls(sent=sent, first_bit=first_bit)

    @property
    def period(self) -> int:
        """Bits from one frame to the next."""
        return len(self.sent) + INTERMISSION

    def levels(self, bits: Places) -> NDArray[np.uint8]:
        """Return the sent levels of global bits; shape as given."""
        pattern = np.ones(self.period, np.uint8)
        pattern[: len(self.sent)] = np.frombuffer(self.sent.bits.unpack(), np.uint8)
        return pattern[(bits - self.first_bit) % self.period]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StreamHits:
    """What happened to a stretch of a stream.

    Attributes:
        stream: the stream.
        first_bit: of the stretch, global.
        stop_bit: one past its last.
        toggled: global bits in which the comparator left the sent level.
        flipped: global bits read wrong.
        active: global stretches (start, stop) of bits in which the cause was at work.
        bit_rate: bits per second.
        how: how the flips were found.
    """

    stream: FrameStream
    first_bit: int
    stop_bit: int
    toggled: Places
    flipped: Places
    active: tuple[tuple[int, int], ...]
    bit_rate: float
    how: str

    def to_json(self) -> dict[str, Any]:
        """Return the hits, ready for JSON; bits count from the first one of the stretch."""
        return {
            "network": self.stream.sent.network,
            "bit_rate": self.bit_rate,
            "first_bit": self.first_bit,
            "bits": self.stop_bit - self.first_bit,
            "frame_bits": len(self.stream.sent),
            "flips": (self.flipped - self.first_bit).tolist(),
            "toggled": (self.toggled - self.first_bit).tolist(),
            "active": [[start - self.first_bit, stop - self.first_bit] for start, stop in self.active],
            "frames": self.frames(),
            "method": self.how,
        }

    def frames(self) -> list[dict[str, Any]]:
        """Return the frames that a flip fell into, with what a receiver says; bits outside the stretch are clean."""
        offset = self.flipped - self.stream.first_bit
        number, place = offset // self.stream.period, offset % self.stream.period
        told = []
        for frame in np.unique(number).tolist():
            flips = [bit for bit in place[number == frame].tolist() if bit < len(self.stream.sent)]
            if not flips:
                continue
            verdict = judge(self.stream.sent, self.stream.sent.flipped(flips))
            told.append(
                {
                    "frame": frame,
                    "flips": flips,
                    "outcome": verdict.outcome.value,
                    "check": None if verdict.check is None else verdict.check.value,
                    "at": verdict.at,
                }
            )
        return told


def caused_hits(scenario: Scenario, stream: FrameStream, first_bit: int, stop_bit: int) -> StreamHits:
    """Return what the scenario's cause does to a stretch of a stream, in closed form.

    Raises:
        BadArgument: the scenario's disturbance knows no volts.
    """
    link, cause = scenario.link, _cause(scenario)
    if isinstance(cause, PulseTrain):
        hits = cause.walk(link, first_bit, stop_bit, scenario.seed, stream.levels)
    else:
        hits = link.walk(cause, first_bit, stop_bit, scenario.seed, stream.levels)
    starts = _starts(cause, link, first_bit, stop_bit, scenario.seed)
    return StreamHits(
        stream=stream,
        first_bit=first_bit,
        stop_bit=stop_bit,
        toggled=hits.toggled,
        flipped=hits.flipped,
        active=_stretches(starts, link.bit_rate, first_bit, stop_bit),
        bit_rate=link.bit_rate,
        how="closed form, at the sample instants",
    )


def recorded_stream_hits(
    link: CanLink, waveform: Waveform, stream: FrameStream, *, loud_volts: float = 0.05
) -> StreamHits:
    """Return what a recording does to the bits of a stream that lie wholly inside it; see ``recorded_hits``."""
    hits = recorded_hits(link, waveform, stream.levels, loud_volts=loud_volts)
    return StreamHits(
        stream=stream,
        first_bit=hits.first_bit,
        stop_bit=hits.stop_bit,
        toggled=hits.toggled,
        flipped=hits.flipped,
        active=_stretches(hits.loud, link.bit_rate, hits.first_bit, hits.stop_bit),
        bit_rate=link.bit_rate,
        how="recording, straight between samples",
    )


def record_cause(
    scenario: Scenario, *, seconds: float, rate_hz: float, start_s: float | None = None, lead_s: float = 10e-6
) -> Waveform:
    """Write down what the scenario's cause leaves at the comparator of its link.

    Args:
        scenario: its disturbance must be an engine or a pulse train; of an engine, the first severity counts.
        seconds: how long.
        rate_hz: samples per second.
        start_s: where to begin; default: ``lead_s`` before the first transient after time 0, on a whole bit.
        lead_s: quiet time before that transient.

    Raises:
        BadArgument: a value is out of range, or the scenario's disturbance knows no volts.
        NotFeasible: more samples than fit in memory.
    """
    check_number("seconds", seconds, 0, 1e4, unit="s", open_low=True)
    check_number("rate_hz", rate_hz, 1e3, 1e12, unit="samples/s")
    if seconds * rate_hz + 1 > MOST_SAMPLES:
        raise NotFeasible(f"seconds={seconds:g}: makes {seconds * rate_hz:,.0f} samples; at most {MOST_SAMPLES:,} fit")
    link, cause = scenario.link, _cause(scenario)
    if start_s is None:
        horizon = int(link.bit_rate * (1.0 if isinstance(cause, PulseTrain) else 3 / cause.sparks_per_second))
        first = int(_starts(cause, link, 0, horizon, scenario.seed)[0])
        start_s = max(0, first - round(lead_s * link.bit_rate)) / link.bit_rate
    transients = transients_of(cause, link, start_s, start_s + seconds, scenario.seed)
    return Waveform.of(transients, start_s=start_s, rate_hz=rate_hz, n_samples=round(seconds * rate_hz) + 1)


def transients_of(cause: Ignition | PulseTrain, link: CanLink, start_s: float, stop_s: float, seed: int) -> Transients:
    """Return the transients of a window, and those before it that are still heard, behind the link's low-pass."""
    if isinstance(cause, PulseTrain):
        return cause.through(link, start_s - cause.reach_s(link), stop_s, seed)
    rings: Rings = link.rings(cause.events(start_s - link.reach_s(cause), stop_s, seed))
    return rings


def _cause(scenario: Scenario) -> Ignition | PulseTrain:
    cause = scenario.disturbance
    if isinstance(cause, Ignition):
        return dataclasses.replace(cause, severity=scenario.severities[0])
    if isinstance(cause, PulseTrain):
        return cause
    if isinstance(cause, RecordedWaveform):
        raise BadArgument("disturbance: is a recording already; expected kind ignition or pulse-train")
    raise BadArgument("disturbance: a channel knows bits, not volts; expected kind ignition or pulse-train")


def _starts(cause: Ignition | PulseTrain, link: CanLink, first: int, stop: int, seed: int) -> Places:
    """Return the bits in which a transient begins, ascending, without repeats."""
    found = [np.empty(0, np.int64)]
    per_second = cause.pulses_per_second if isinstance(cause, PulseTrain) else cause.sparks_per_second
    step = max(1, int(4096 / per_second * link.bit_rate))
    for begin in range(first, stop, step):
        until = min(begin + step, stop)
        if isinstance(cause, PulseTrain):
            times = cause.starts(begin / link.bit_rate, until / link.bit_rate, seed)
        else:
            times = link.rings(cause.events(begin / link.bit_rate, until / link.bit_rate, seed)).start_s
        found.append(np.unique(np.floor(times * link.bit_rate).astype(np.int64)))
    bits = np.unique(np.concatenate(found))
    return bits[(bits >= first) & (bits < stop)]


def _stretches(bits: Places, bit_rate: float, first: int, stop: int) -> tuple[tuple[int, int], ...]:
    """Join bits with short pauses into stretches (start, stop)."""
    if not bits.size:
        return ()
    breaks = np.flatnonzero(np.diff(bits) > JOINED_S * bit_rate)
    begin = bits[np.concatenate([[0], breaks + 1])]
    end = bits[np.concatenate([breaks, [bits.size - 1]])] + 1
    pairs = zip(np.maximum(begin, first).tolist(), np.minimum(end, stop).tolist(), strict=True)
    return tuple((int(low), int(high)) for low, high in pairs)
