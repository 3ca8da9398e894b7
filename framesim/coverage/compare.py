"""One value and its repetition rate on every network, and on the analog line."""

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from framesim import __version__
from framesim.codes import crc
from framesim.coverage.carriers import CARRIERS, Carrier
from framesim.coverage.estimate import Estimate
from framesim.coverage.stratified import combined, sampled, stratify
from framesim.disturbance import Scatter
from framesim.errors import BadArgument, check_number, check_range
from framesim.judging import encode
from framesim.linecoding.stuffing import DynamicStuffing
from framesim.networks.registry import network
from framesim.plain import frame_fields
from framesim.wire import WireFrame

__all__ = ["Comparison", "Lane", "compare"]

FORMAT = 1

#: Called with the share done (0..1) and a word on what is being done.
Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """One network's figures for the value.

    Attributes:
        network: as in ``framesim.networks()``.
        provisional: why the format is not certain, or empty.
        payload_bytes: in the frame that carries the value.
        frame: the fields of the frame that was built, bytes in hex.
        bits: wire bits of this very frame, without what stands behind its end.
        least_bits: wire bits of the shortest frame with a payload of this length.
        most_bits: wire bits that no frame with a payload of this length exceeds.
        bit_rate: wire bits per second.
        fast_rate: the same in the fast phase; None: there is none.
        time_s: on the wire, this frame.
        efficiency: bits of the value per wire bit.
        load: share of the wire's time at the repetition rate, gap between frames included; above 1 it does not fit.
        wires: signal wires.
        latency_s: from the start of sending to the end of a frame that had to be sent a second time.
        mends: who or what makes good a frame that a check stopped.
        distance: fewest flips that the frame's CRC misses at this length; None where no CRC guards the payload.
        residual: P(undetected) per frame sent, under the disturbance.
        first: the first check to speak → of all single flips of the frame, how many it catches; and ``"nobody"``.
        about: what a reader should know.
    """

    network: str
    provisional: str
    payload_bytes: int
    frame: dict[str, Any]
    bits: int
    least_bits: int
    most_bits: int
    bit_rate: float
    fast_rate: float | None
    time_s: float
    efficiency: float
    load: float
    wires: int
    latency_s: float
    mends: str
    distance: int | None
    residual: Estimate
    first: dict[str, int]
    about: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Everything ``compare`` found.

    Attributes:
        value_bits: resolution of the value as a frame.
        value: the value.
        every_s: repetition time.
        disturbance: the channel, at one receiver of each network.
        patterns: flip patterns judged in each sampled stratum; under a channel whose flips depend on each other, a
            tenth of the frames sent.
        confidence: of the intervals.
        seed: of the sampled strata.
        analog_steps: how many values the analog line's converter tells apart.
        lanes: one a network.
        left_out: network → why it cannot carry the value, or that it was not reached.
        partial: the run was interrupted.
    """

    value_bits: int
    value: int
    every_s: float
    disturbance: dict[str, Any]
    patterns: int
    confidence: float
    seed: int
    analog_steps: int
    lanes: tuple[Lane, ...]
    left_out: dict[str, str]
    partial: bool = False

    def to_json(self) -> str:
        """Return the comparison as JSON text."""
        record: dict[str, Any] = {"format": FORMAT, "version": __version__}
        for name in ("value_bits", "value", "every_s", "disturbance", "patterns", "confidence", "seed"):
            record[name] = getattr(self, name)
        record["links"] = [_lane_json(lane, self.seed) for lane in self.lanes]
        record["analog"] = {
            "wires": 1,
            "steps": self.analog_steps,
            "check": "plausible range only",
            "disturbance": "none: a channel of bits knows no volts",
        }
        record["left_out"] = self.left_out
        record["partial"] = self.partial
        return json.dumps(record, indent=2, ensure_ascii=False)


def _lane_json(lane: Lane, seed: int) -> dict[str, Any]:
    figures = asdict(lane)
    residual = figures.pop("residual")
    return {
        "link": figures.pop("network"),
        "probability": residual["best"] or None,
        "low": residual["low"],
        "high": residual["high"],
        "confidence": residual["confidence"],
        "method": residual["method"],
        **figures,
        "seed": seed,
        "version": __version__,
    }


def compare(
    *,
    value_bits: int = 12,
    value: int | None = None,
    every_s: float = 0.01,
    channel: Any = None,
    patterns: int = 300,
    confidence: float = 0.95,
    seed: int = 1,
    analog_bits: int = 10,
    progress: Progress | None = None,
) -> Comparison:
    """Put one value on every network.

    A ``KeyboardInterrupt`` ends the run; the comparison then holds the networks done until then and says that it is
    partial. If there is none, the interruption is raised again.

    Args:
        value_bits: resolution of the value, 1..64.
        value: the value itself; default: about two thirds of the range, with a lively bit pattern.
        every_s: how often it is sent, seconds.
        channel: flips bits on the wire, the same for all; default: independent flips at a bit error ratio of 1e-5.
        patterns: flip patterns judged in each stratum that is too large to be tried whole.
        confidence: of the intervals.
        seed: of the sampled strata.
        analog_bits: resolution of the analog line's converter.
        progress: called now and then.

    Raises:
        BadArgument: an argument out of range.
    """
    check_range("value_bits", value_bits, 1, 64, base="d")
    check_range("analog_bits", analog_bits, 1, 24, base="d")
    check_range("seed", seed, 0, 2**63 - 1, base="d")
    check_range("patterns", patterns, 1, 10**9, base="d")
    if value is None:
        value = (0xA3C5_96E1_7B2D_48F0 >> (64 - value_bits)) & ((1 << value_bits) - 1)
    check_range("value", value, 0, (1 << value_bits) - 1, clause=f"value_bits={value_bits}")
    check_number("every_s", every_s, 0, 3600, unit="s", open_low=True)
    check_number("confidence", confidence, 0.5, 0.999999)
    channel = Scatter(bit_error_ratio=1e-5) if channel is None else channel
    lanes: list[Lane] = []
    left_out: dict[str, str] = {}
    try:
        for done, carrier in enumerate(CARRIERS.values()):
            if progress is not None:
                progress(done / len(CARRIERS), carrier.title)
            try:
                payload = carrier.payload(value, value_bits)
            except BadArgument as reason:
                left_out[carrier.network] = str(reason)
                continue
            sent = encode(carrier.frame(payload))
            residual, first = _judged(sent, channel, patterns, seed, confidence)
            lanes.append(_lane(carrier, payload, sent, residual, first, value_bits=value_bits, every_s=every_s))
    except KeyboardInterrupt:
        if not lanes:
            raise
    reached = {*left_out, *(lane.network for lane in lanes)}
    missing = {name: f"{carrier.title}, interrupted before it was done" for name, carrier in CARRIERS.items()
               if name not in reached}  # fmt: skip
    return Comparison(
        value_bits=value_bits,
        value=value,
        every_s=every_s,
        disturbance=channel.describe(),
        patterns=patterns,
        confidence=confidence,
        seed=seed,
        analog_steps=1 << analog_bits,
        lanes=tuple(lanes),
        left_out={**left_out, **missing},
        partial=bool(missing),
    )


def _judged(
    sent: WireFrame, channel: Any, patterns: int, seed: int, confidence: float
) -> tuple[Estimate, dict[str, int]]:
    """Return P(undetected), and what becomes of single flips."""
    if isinstance(channel, Scatter):
        strata = stratify(sent, most_flips=4, patterns=patterns, seed=seed)
        residual, single = combined(strata, len(sent), channel.bit_error_ratio, confidence), strata[0]
    else:
        single = stratify(sent, most_flips=1, patterns=len(sent), seed=seed)[0]
        residual = sampled(sent, channel, frames=10 * patterns, seed=seed, confidence=confidence)
    first = {check.value: count for check, count in single.first.items()}
    return residual, {**first, "nobody": single.tried - sum(single.first.values())}


def _lane(
    carrier: Carrier,
    payload: bytes,
    sent: WireFrame,
    residual: Estimate,
    first: dict[str, int],
    *,
    value_bits: int,
    every_s: float,
) -> Lane:
    bits, time_s = carrier.frame_bits(sent), carrier.time_s(sent)
    least, most = bit_bounds(carrier, payload, sent)
    again_s = every_s if carrier.repeat_bits is None else time_s + carrier.repeat_bits / carrier.bit_rate
    return Lane(
        network=carrier.network,
        provisional=network(sent.network).provisional,
        payload_bytes=len(payload),
        frame=frame_fields(sent.frame),
        bits=bits,
        least_bits=least,
        most_bits=most,
        bit_rate=carrier.bit_rate,
        fast_rate=carrier.fast_rate,
        time_s=time_s,
        efficiency=value_bits / bits,
        load=(time_s + carrier.gap_bits / carrier.bit_rate) / every_s,
        wires=carrier.wires,
        latency_s=time_s + again_s,
        mends=carrier.mends,
        distance=_distance(sent),
        residual=residual,
        first=first,
        about=carrier.about,
    )


def bit_bounds(carrier: Carrier, payload: bytes, sent: WireFrame) -> tuple[int, int]:
    """Return wire bits that no frame with a payload of this length falls below, and exceeds.

    With dynamic stuffing of the payload: no stuff bit, and the most stuff bits that n stuffable bits can call for,
    floor((n - 1) / 4) (Davis, Burns, Bril and Lukkien, Real-Time Systems 35 (2007), from memory). Where nibbles are
    pulses: all of them, the CRC included, shortest and longest. Elsewhere the length does not depend on the payload.
    """
    bits = carrier.frame_bits(sent)
    stops = {name: span.stop for name, span in zip(sent.fields, sent.spans, strict=True)}
    fields = [field for field in network(sent.network).layout.fields if field.name in stops]
    if carrier.pulse_ticks is not None:
        guarded = sum(span.stop - span.start for span in sent.spans if span.name in ("data", "CRC"))
        pulses = 2 * len(payload) + 1
        return tuple(bits - guarded + ticks * pulses for ticks in carrier.pulse_ticks)  # type: ignore[return-value]
    if not any(field.octets and isinstance(field.coding, DynamicStuffing) for field in fields):
        return bits, bits
    stuffed = [field.name for field in fields if isinstance(field.coding, DynamicStuffing)]
    region = stops[stuffed[-1]]
    added = sum(place < region for place in sent.inserted)
    return bits - added, bits - added + (region - added - 1) // 4


def _distance(sent: WireFrame) -> int | None:
    """Return the Hamming distance, at this length, of the CRC that guards the whole frame; None if none does."""
    spans = dict(zip(sent.fields, sent.spans, strict=True))
    guards = [field.guard for field in network(sent.network).layout.fields if field.guard and field.name in spans]
    coded = [guard for guard in guards if guard.code]
    if not coded:
        return None
    last = coded[-1]  # a CRC over the header alone comes before the one over everything
    covered = [spans[name] for name in last.covers if name in spans]
    added = sum(any(span.start <= place < span.stop for span in covered) for place in sent.inserted)
    data_bits = sum(span.stop - span.start for span in covered) - added
    return crc(last.code or "").hamming_distance(data_bits)
