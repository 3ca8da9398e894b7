"""One value and its repetition rate on every network, and on the analog line."""

import json
from dataclasses import asdict, dataclass
from typing import Any

from framesim import __version__
from framesim.codes import crc
from framesim.coverage.carriers import CARRIERS, Carrier
from framesim.coverage.estimate import Estimate
from framesim.coverage.stratified import combined, stratify
from framesim.errors import BadArgument, check_number, check_range
from framesim.judging import encode
from framesim.linecoding.stuffing import DynamicStuffing
from framesim.networks.registry import network
from framesim.wire import WireFrame

__all__ = ["Comparison", "Lane", "compare"]

FORMAT = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """One network's figures for the value.

    Attributes:
        network: as in ``framesim.networks()``.
        provisional: why the format is not certain, or empty.
        payload_bytes: in the frame that carries the value.
        bits: wire bits of this very frame.
        least_bits: wire bits of the shortest frame with a payload of this length.
        most_bits: wire bits that no frame with a payload of this length exceeds.
        bit_rate: wire bits per second.
        time_s: on the wire, this frame.
        efficiency: bits of the value per wire bit.
        load: share of the wire's time at the repetition rate; above 1 it does not fit.
        wires: signal wires.
        latency_s: from the start of sending to the end of a frame that had to be sent a second time.
        repeats: a frame that a check stopped is repeated at once.
        distance: fewest flips that the frame's CRC misses at this length; None where no CRC guards the payload.
        residual: P(undetected) per frame sent, under independent flips at the bit error ratio.
        about: what a reader should know.
    """

    network: str
    provisional: str
    payload_bytes: int
    bits: int
    least_bits: int
    most_bits: int
    bit_rate: float
    time_s: float
    efficiency: float
    load: float
    wires: int
    latency_s: float
    repeats: bool
    distance: int | None
    residual: Estimate
    about: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Everything ``compare`` found.

    Attributes:
        value_bits: resolution of the value as a frame.
        steps: how many values it can take, in a frame.
        every_s: repetition time.
        bit_error_ratio: of the disturbance.
        patterns: flip patterns judged in each sampled stratum.
        confidence: of the intervals.
        seed: of the sampled strata.
        analog_steps: how many values the analog line's converter tells apart.
        lanes: one a network.
        left_out: network → why it cannot carry the value.
    """

    value_bits: int
    every_s: float
    bit_error_ratio: float
    patterns: int
    confidence: float
    seed: int
    analog_steps: int
    lanes: tuple[Lane, ...]
    left_out: dict[str, str]

    def to_json(self) -> str:
        """Return the comparison as JSON text."""
        record: dict[str, Any] = {"format": FORMAT, "version": __version__}
        for name in ("value_bits", "every_s", "bit_error_ratio", "patterns", "confidence", "seed"):
            record[name] = getattr(self, name)
        record["links"] = [_lane_json(lane, self.seed) for lane in self.lanes]
        record["analog"] = {"wires": 1, "steps": self.analog_steps, "check": "plausible range only"}
        record["left_out"] = self.left_out
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
    bit_error_ratio: float = 1e-5,
    patterns: int = 300,
    confidence: float = 0.95,
    seed: int = 1,
    analog_bits: int = 10,
) -> Comparison:
    """Put one value on every network.

    Args:
        value_bits: resolution of the value, 1..64.
        value: the value itself; default: about two thirds of the range, with a lively bit pattern.
        every_s: how often it is sent, seconds.
        bit_error_ratio: independent flips on the wire, the same for all.
        patterns: flip patterns judged in each stratum that is too large to be tried whole.
        confidence: of the intervals.
        seed: of the sampled strata.
        analog_bits: resolution of the analog line's converter.

    Raises:
        BadArgument: an argument out of range.
    """
    check_range("value_bits", value_bits, 1, 64, base="d")
    check_range("analog_bits", analog_bits, 1, 24, base="d")
    check_range("seed", seed, 0, 2**63 - 1, base="d")
    if value is None:
        value = (0xA3C5_96E1_7B2D_48F0 >> (64 - value_bits)) & ((1 << value_bits) - 1)
    check_range("value", value, 0, (1 << value_bits) - 1, clause=f"value_bits={value_bits}")
    check_number("every_s", every_s, 0, 3600, unit="s", open_low=True)
    check_number("bit_error_ratio", bit_error_ratio, 0, 0.1, open_low=True)
    check_number("confidence", confidence, 0.5, 0.999999)
    lanes: list[Lane] = []
    left_out: dict[str, str] = {}
    for carrier in CARRIERS.values():
        try:
            payload = carrier.payload(value, value_bits)
        except BadArgument as reason:
            left_out[carrier.network] = str(reason)
            continue
        sent = encode(carrier.frame(payload))
        strata = stratify(sent, most_flips=4, patterns=patterns, seed=seed)
        residual = combined(strata, len(sent), bit_error_ratio, confidence)
        lanes.append(_lane(carrier, payload, sent, residual, value_bits=value_bits, every_s=every_s))
    return Comparison(
        value_bits=value_bits,
        every_s=every_s,
        bit_error_ratio=bit_error_ratio,
        patterns=patterns,
        confidence=confidence,
        seed=seed,
        analog_steps=1 << analog_bits,
        lanes=tuple(lanes),
        left_out=left_out,
    )


def _lane(
    carrier: Carrier, payload: bytes, sent: WireFrame, residual: Estimate, *, value_bits: int, every_s: float
) -> Lane:
    spec = network(sent.network)
    bits = len(sent)
    least, most = bit_bounds(carrier, payload, sent)
    time_s = bits / carrier.bit_rate
    repeats = carrier.repeat_bits is not None
    latency_s = time_s + (time_s + (carrier.repeat_bits or 0) / carrier.bit_rate if repeats else every_s)
    return Lane(
        network=carrier.network,
        provisional=spec.provisional,
        payload_bytes=len(payload),
        bits=bits,
        least_bits=least,
        most_bits=most,
        bit_rate=carrier.bit_rate,
        time_s=time_s,
        efficiency=value_bits / bits,
        load=time_s / every_s,
        wires=carrier.wires,
        latency_s=latency_s,
        repeats=repeats,
        distance=_distance(sent),
        residual=residual,
        about=carrier.about,
    )


def bit_bounds(carrier: Carrier, payload: bytes, sent: WireFrame) -> tuple[int, int]:
    """Return the fewest and the most wire bits of a frame with a payload of this length.

    With dynamic stuffing: none, and the most stuff bits that n stuffable bits can call for, floor((n - 1) / 4)
    (Davis, Burns, Bril and Lukkien, Real-Time Systems 35 (2007), from memory). Elsewhere the payloads of all zeros
    and all ones are the extremes: either the length does not depend on the payload, or it grows with the value.
    """
    fields = network(sent.network).layout.fields
    stops = {name: span.stop for name, span in zip(sent.fields, sent.spans, strict=True)}
    stuffed = [field.name for field in fields if isinstance(field.coding, DynamicStuffing) and field.name in stops]
    if stuffed:
        region = stops[stuffed[-1]]
        added = sum(place < region for place in sent.inserted)
        return len(sent) - added, len(sent) - added + (region - added - 1) // 4
    ends = [len(encode(carrier.frame(bytes([byte]) * len(payload)))) for byte in (0x00, 0xFF)]
    return min(ends), max(ends)


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
