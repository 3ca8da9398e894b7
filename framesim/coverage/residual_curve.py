"""P(undetected) of a frame or a population on one channel or at many bit error ratios, by the method that applies."""

import csv
import io
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from framesim import __version__
from framesim.coverage.exact.graded import Counts, counts_by_flips
from framesim.coverage.exact.line import Line, line_of
from framesim.coverage.exact.means import Mean, mean_on_channel, means_by_flips
from framesim.coverage.exact.numeric import fate_of
from framesim.coverage.exact.same_content import Tree, same_content
from framesim.coverage.population import Payloads
from framesim.disturbance import Scatter
from framesim.errors import BadArgument, NotFeasible, check_number, check_range
from framesim.judging import encode
from framesim.networks.registry import network_of
from framesim.words import Check

__all__ = ["Acceptance", "Residual", "ResidualCurve", "residual", "residual_curve"]

FORMAT = 1
EXACT = "can"  # the network whose frames have the full exact method; others go by their own
Acceptance = Literal["receiver_only", "same_end"]
Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Residual:
    """P(undetected) per frame sent, at one receiver disturbed alone.

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
        by_check: the first check to speak → probability; empty where not computed.
        delivered: probability that the frame is accepted as sent; None where not computed.
        unseen: probability that it is never taken for a frame; None where not computed.
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

    def per_hour(self, value: float | None) -> float | None:
        """Return a probability per frame as undetected frames per hour."""
        return None if value is None or self.frames_per_second is None else value * self.frames_per_second * 3600

    def to_json(self) -> str:
        """Return the curve as JSON text: the same bytes for the same input and version."""
        record: dict[str, Any] = {"format": FORMAT, "version": __version__, "network": self.network}
        if self.provisional:
            record["provisional"] = self.provisional
        record |= {"subject": dict(self.subject), "acceptance": self.acceptance, "disturbed": "one receiver alone"}
        record["links"] = [self._link(point) for point in self.points]
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


def residual(frame_or_population: Any, channel: Any, acceptance: Acceptance = "receiver_only", **how: Any) -> Residual:
    """Return P(undetected) per frame sent, at one receiver that is disturbed alone.

    Args:
        frame_or_population: a frame of any network, or ``Payloads`` of classic CAN.
        channel: ``Scatter``, ``GilbertElliott``, ``Bursts`` or ``Markov``, met in the long run at the first bit.
        acceptance: ``"receiver_only"``: whatever the receiver accepts counts. ``"same_end"``: only what it accepts at
            the sender's own end, since another receiver's acknowledgement or error flag would stop the rest.
        how: see ``residual_curve``.

    Raises:
        BadArgument: an argument out of range.
        NotFeasible: no method here covers the request; the message says what it would take.
    """
    return residual_curve(frame_or_population, [channel], acceptance=acceptance, **how).points[0]


def residual_curve(
    subject: Any,
    channels: Sequence[Any],
    *,
    acceptance: Acceptance = "receiver_only",
    confidence: float = 0.95,
    target: float = 0.1,
    budget_s: float = 60.0,
    frames_per_second: float | None = None,
    workers: int = 1,
    progress: Progress | None = None,
) -> ResidualCurve:
    """Return the residual on each channel.

    Args:
        subject: a frame of any network, or ``Payloads`` of classic CAN.
        channels: what flips the bits; several ones must all be ``Scatter``.
        acceptance: see ``residual``.
        confidence: of the intervals over a population.
        target: half the width of an interval, in parts of its mean, at which drawing stops.
        budget_s: seconds of one processor, roughly, at which it stops anyway.
        frames_per_second: to state a rate per hour as well.
        workers: threads that count over a population; the result is the same for any number.
        progress: called now and then.

    Raises:
        BadArgument: an argument out of range.
        NotFeasible: no method here covers the request.
    """
    if acceptance not in ("receiver_only", "same_end"):
        raise BadArgument(f"acceptance={acceptance!r}: expected 'receiver_only' or 'same_end'")
    check_number("confidence", confidence, 0.5, 0.999999)
    check_number("target", target, 0, 10, open_low=True)
    check_number("budget_s", budget_s, 0, 1e6, unit="s", open_low=True)
    if frames_per_second is not None:
        check_number("frames_per_second", frames_per_second, 0, 1e9)
    check_range("workers", workers, 1, 256, base="d")
    if not channels:
        raise BadArgument("channels=[]: expected at least one")
    frame = subject.frame if isinstance(subject, Payloads) else subject
    spec = network_of(frame)
    same_end = acceptance == "same_end"
    if isinstance(subject, Payloads):
        if spec.name != EXACT:
            raise NotFeasible(
                f"population: means over payloads are taken on {EXACT} alone; give one frame of {spec.name}"
            )
        points = _over_payloads(subject, channels, same_end, confidence, target, budget_s, workers, progress)
    elif spec.name == EXACT:
        points = _of_can_frame(subject, channels, same_end, progress)
    elif same_end:
        raise NotFeasible(f"acceptance='same_end': only nodes on {EXACT} object to each other's acceptance")
    else:
        points = _elsewhere(subject, channels, progress)
    return ResidualCurve(
        network=spec.name,
        subject=subject.describe() if isinstance(subject, Payloads) else _fields(frame),
        acceptance=acceptance,
        points=tuple(points),
        seed=subject.seed if isinstance(subject, Payloads) else None,
        frames_per_second=frames_per_second,
        provisional=spec.provisional,
    )


def _fields(frame: Any) -> dict[str, Any]:
    return {name: value.hex() if isinstance(value, bytes) else value for name, value in asdict(frame).items()}


def _of_can_frame(frame: Any, channels: Sequence[Any], same_end: bool, progress: Progress | None) -> list[Residual]:
    line = line_of(encode(frame))
    tree = same_content(line)
    counts = counts_by_flips(line, tree=tree)
    points = []
    for done, channel in enumerate(channels):
        if progress is not None:
            progress(done / len(channels), "summing over all flip patterns")
        points.append(_exact_point(line, tree, counts, channel, same_end))
    return points


def _exact_point(line: Line, tree: Tree, counts: Counts, channel: Any, same_end: bool) -> Residual:
    fate = fate_of(line, channel.matrices(), tree=tree)
    value = fate.by_end.get(line.accept_at, 0.0) if same_end else fate.undetected
    shares: dict[int, float] = {}
    if isinstance(channel, Scatter) and value > 0:
        by_flips = counts.weights(channel.bit_error_ratio, same_end=same_end).sum(axis=1)
        shares = {flips: float(by_flips[flips]) / value for flips in range(1, counts.up_to + 1)}
        shares[counts.up_to + 1] = max(0.0, 1 - sum(shares.values()))
    return Residual(
        probability=value,
        low=value,
        high=value + fate.omitted,
        confidence=1.0,
        method="exact",
        basis="every flip pattern summed through all states of receiver, CRC register and channel",
        channel=channel.describe(),
        by_check=fate.by_check,
        delivered=fate.delivered,
        unseen=fate.unseen,
        patterns=counts.by_flips(same_end=same_end),
        shares=shares,
    )


def _over_payloads(
    subject: Payloads,
    channels: Sequence[Any],
    same_end: bool,
    confidence: float,
    target: float,
    budget_s: float,
    workers: int,
    progress: Progress | None,
) -> list[Residual]:
    how: dict[str, Any] = {"same_end": same_end, "confidence": confidence, "target": target, "progress": progress}
    if all(isinstance(channel, Scatter) and channel.bit_error_ratio > 0 for channel in channels):
        ratios = [channel.bit_error_ratio for channel in channels]
        means = means_by_flips(subject, ratios, budget_s=budget_s, workers=workers, **how)
    else:
        share_s = budget_s / len(channels)
        means = [mean_on_channel(subject, channel.matrices(), budget_s=share_s, **how) for channel in channels]
    return [_mean_point(mean, channel) for mean, channel in zip(means, channels, strict=True)]


def _mean_point(mean: Mean, channel: Any) -> Residual:
    estimate = mean.estimate
    return Residual(
        probability=None if mean.reason else estimate.best,
        low=estimate.low,
        high=estimate.high,
        confidence=estimate.confidence,
        method="stratified",
        basis=f"exact counts for each frame, the frame as sampling unit; {estimate.method}",
        reason=mean.reason,
        channel=channel.describe(),
        by_check=mean.verdicts.by_check,
        delivered=mean.verdicts.delivered,
        unseen=mean.verdicts.unseen,
        patterns=mean.patterns or None,
        shares=mean.shares,
        quantiles=mean.spread.quantiles if mean.spread else {},
        frames=max(mean.frames.values(), default=0),
    )


def _elsewhere(frame: Any, channels: Sequence[Any], progress: Progress | None) -> list[Residual]:
    from framesim.coverage.linear.dispatch import residual_of

    sent = encode(frame)
    points = []
    for done, channel in enumerate(channels):
        if progress is not None:
            progress(done / len(channels), "summing over code words")
        found = residual_of(sent, channel)
        points.append(
            Residual(
                probability=found.probability,
                low=found.low,
                high=found.high,
                confidence=1.0,
                method=found.method,
                basis=found.basis,
                channel=channel.describe(),
                by_check=found.by_check or {},
                delivered=found.delivered,
                unseen=found.unseen,
                patterns=found.patterns,
            )
        )
    return points
