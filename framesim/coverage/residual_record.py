"""What is stated about the residual error: one record a channel, and the curve that they form."""

import csv
import io
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from framesim import __version__
from framesim.coverage.sight import ONE_ALONE, Sight
from framesim.words import Check

__all__ = ["Residual", "ResidualCurve"]

FORMAT = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Residual:
    """P(undetected) per frame sent: at the one receiver disturbed, or at any of several.

    Attributes:
        probability: the value, or the best estimate; where it is only bounded, the upper limit; None where nothing
            undetected was found among what was sampled, or where the sample is too small: then see ``reason``.
        low: lower limit.
        high: upper limit.
        confidence: of the limits; 1 where they hold for certain.
        method: ``exact``, ``bounded`` (limits that hold for certain), or ``stratified`` (exact for each frame, sampled
            over frames).
        basis: in words, how it was obtained.
        reason: why the interval must not be trusted; empty if it may be.
        channel: the disturbance.
        by_check: the first check to speak at one receiver → probability; empty where not computed.
        delivered: probability that one receiver accepts the frame as sent; None where not computed.
        unseen: probability that one receiver never takes it for a frame; None where not computed.
        other_end: probability that one receiver accepts wrong, but not at the sender's end, where such frames do not
            count since another node's flag stops them; None where they count or were not summed apart.
        patterns: number of flips → number of undetected patterns, or their mean over frames; None where not counted.
        shares: number of flips → share of the probability; 7 stands for seven and more; empty where not known.
        quantiles: share of frames → P(undetected) that so many do not exceed; empty for a single frame.
        frames: how many frames were looked at.
    """

    probability: float | None
    low: float
    high: float
    confidence: float
    method: str
    basis: str
    reason: str = ""
    channel: Mapping[str, Any] = field(default_factory=dict)
    by_check: Mapping[Check, float] = field(default_factory=dict)
    delivered: float | None = None
    unseen: float | None = None
    other_end: float | None = None
    patterns: Mapping[int, float] | None = None
    shares: Mapping[int, float] = field(default_factory=dict)
    quantiles: Mapping[float, float] = field(default_factory=dict)
    frames: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class ResidualCurve:
    """Residuals of one subject on one channel, or along a sweep of bit error ratios.

    Attributes:
        network: as in ``framesim.networks()``.
        subject: the frame's fields, or what the population is.
        acceptance: whose acceptance counts.
        sight: how many receivers there are, and whom a flip reaches.
        points: one a channel.
        seed: of the payloads drawn; None for a single frame.
        frames_per_second: of the rate per hour; None: no rate is stated.
        provisional: why the network's format is not certain, or empty.
    """

    network: str
    subject: Mapping[str, Any]
    acceptance: str
    points: tuple[Residual, ...]
    seed: int | None
    frames_per_second: float | None
    provisional: str = ""
    sight: Sight = ONE_ALONE

    def per_hour(self, value: float | None) -> float | None:
        """Return a probability per frame as undetected frames per hour."""
        return None if value is None or self.frames_per_second is None else value * self.frames_per_second * 3600

    def to_json(self, **more: Any) -> str:
        """Return the curve as JSON text, ``more`` as further keys: the same bytes for the same input and version."""
        record: dict[str, Any] = {"format": FORMAT, "version": __version__, "network": self.network}
        if self.provisional:
            record["provisional"] = self.provisional
        record |= {"subject": dict(self.subject), "acceptance": self.acceptance}
        record |= {"receivers": self.sight.receivers, "disturbance": self.sight.reach, "seen_by": self.sight.text}
        record["links"] = [self._link(point) for point in self.points]
        record |= more
        return json.dumps(record, indent=2, ensure_ascii=False, allow_nan=False)

    def _link(self, point: Residual) -> dict[str, Any]:
        figures = asdict(point)
        for name in ("patterns", "shares", "quantiles"):
            figures[name] = figures[name] and {f"{key:g}": value for key, value in figures[name].items()}
        per_hour = None
        if self.frames_per_second is not None:
            limits = {name: self.per_hour(getattr(point, name)) for name in ("low", "high")}
            per_hour = {"rate": self.per_hour(point.probability), **limits}
        return {"link": self.network, **figures, "per_hour": per_hour, "seed": self.seed, "version": __version__}

    def to_csv(self) -> str:
        """Return lines of comma-separated values: one a point, ready to plot."""
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        flips = sorted({count for point in self.points for count in point.shares})
        shares = [f"share_of_{count}_flips" for count in flips]
        writer.writerow(["bit_error_ratio", "probability", "low", "high", "confidence", "method", *shares])
        for point in self.points:
            ratio = point.channel.get("bit_error_ratio", "")
            figures = [ratio, "" if point.probability is None else point.probability, point.low, point.high]
            writer.writerow([*figures, point.confidence, point.method, *(point.shares.get(n, "") for n in flips)])
        return text.getvalue()
