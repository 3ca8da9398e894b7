"""P(undetected) of a frame or a population on one channel or at many bit error ratios, by the method that applies."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from framesim.coverage.exact.graded import Counts, counts_by_flips
from framesim.coverage.exact.line import Line, line_of
from framesim.coverage.exact.listed import mean_of_listed
from framesim.coverage.exact.means import CHANNEL_COST, Mean, mean_on_channel, means_by_flips
from framesim.coverage.exact.numeric import fate_of
from framesim.coverage.exact.same_content import Tree, same_content
from framesim.coverage.population import Listed, Population
from framesim.coverage.residual_record import Residual, ResidualCurve
from framesim.coverage.residual_sight import FLAGGING, noticed_by_the_sender, seen_as
from framesim.coverage.sight import Reach, Sight
from framesim.disturbance import Scatter
from framesim.errors import BadArgument, NotFeasible, check_number, check_range
from framesim.judging import encode
from framesim.networks.registry import network_of
from framesim.plain import frame_fields

__all__ = ["EXACT", "MOST_WHOLE", "Acceptance", "Progress", "Residual", "ResidualCurve", "residual", "residual_curve"]

EXACT_WITHIN = 1e-3  # parts of the value that a sum called exact may lack
MOST_WHOLE = 10  # payloads of a population that are each summed whole, instead of by strata
EXACT = "can"  # the network whose frames have the full exact method; others go by their own
Acceptance = Literal["receiver_only", "same_end"]
Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class _How:
    """What every method is told."""

    same_end: bool
    confidence: float
    target: float
    budget_s: float
    workers: int
    progress: Progress | None

    def show(self, done: float, doing: str) -> None:
        if self.progress is not None:
            self.progress(done, doing)


def residual(frame_or_population: Any, channel: Any, acceptance: Acceptance = "receiver_only", **how: Any) -> Residual:
    """Return P(undetected) per frame sent, at one receiver that is disturbed alone unless said otherwise.

    Args:
        frame_or_population: a frame of any network, ``Listed`` frames of one network, or ``Payloads`` of classic CAN.
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
    receivers: int = 1,
    disturbance: Reach = "local",
    confidence: float = 0.95,
    target: float = 0.1,
    budget_s: float = 60.0,
    frames_per_second: float | None = None,
    workers: int = 1,
    progress: Progress | None = None,
) -> ResidualCurve:
    """Return the residual on each channel.

    Args:
        subject: a frame of any network, ``Listed`` frames of one network, or ``Payloads`` of classic CAN.
        channels: what flips the bits; several ones must all be ``Scatter``.
        acceptance: see ``residual``.
        receivers: nodes that listen; the result then is P(at least one of them accepts wrong).
        disturbance: ``"local"``: each receiver has flips of its own, the sender none. ``"common"``: all nodes see the
            same flips, the sender's read-back included.
        confidence: of the intervals over a population.
        target: half the width of an interval, in parts of its mean, at which drawing stops.
        budget_s: seconds of one processor, roughly: over a population it stops there, and a single sum that would
            take longer is refused.
        frames_per_second: to state a rate per hour as well.
        workers: threads that count over a population; the result is the same for any number.
        progress: called now and then.

    Raises:
        BadArgument: an argument out of range.
        NotFeasible: no method here covers the request, or not within the budget; the message says what it would take.
    """
    if acceptance not in ("receiver_only", "same_end"):
        raise BadArgument(f"acceptance={acceptance!r}: expected 'receiver_only' or 'same_end'")
    check_number("confidence", confidence, 0.5, 0.999999)
    check_number("target", target, 0, 10, open_low=True)
    check_number("budget_s", budget_s, 0, 1e6, unit="s", open_low=True)
    if frames_per_second is not None:
        check_number("frames_per_second", frames_per_second, 0, 1e9)
    check_range("workers", workers, 1, 256, base="d")
    channels = list(channels)
    if not channels:
        raise BadArgument("channels=[]: expected at least one")
    for channel in channels:
        if not hasattr(channel, "describe"):
            raise BadArgument(f"channel={channel!r}: expected a channel such as Scatter(bit_error_ratio=1e-6)")
    sight = Sight(receivers=receivers, reach=disturbance)
    frames = _frames(subject)
    spec = network_of(frames[0])
    if spec.name != EXACT and acceptance == "same_end":
        raise NotFeasible(f"acceptance='same_end': is summed on {EXACT} alone; leave it out on {spec.name}")
    how = _How(
        same_end=acceptance == "same_end",
        confidence=confidence,
        target=target,
        budget_s=budget_s,
        workers=workers,
        progress=progress,
    )
    n_bits = max(len(encode(frame)) for frame in frames)
    if isinstance(subject, Population):
        n_bits += n_bits // 4  # other payloads may bring more stuff bits
    summed: Any = subject
    if isinstance(subject, Population) and subject.size <= MOST_WHOLE and _whole_s(subject, channels) <= budget_s:
        rows = [row.tobytes() for row in subject.every(0, subject.size)]
        summed = Listed(frames=[replace(subject.frame, payload=payload) for payload in rows])
    points = _seen(summed, sight, spec.name, channels, n_bits, how)
    return ResidualCurve(
        network=spec.name,
        subject=frame_fields(subject) if subject is frames[0] else subject.describe(),
        acceptance=acceptance,
        points=tuple(points),
        seed=subject.seed if isinstance(subject, Population) else None,
        frames_per_second=frames_per_second,
        provisional=spec.provisional,
        sight=sight,
    )


def _frames(subject: Any) -> Sequence[Any]:
    """Return the frames that stand for the subject; all of one network."""
    if isinstance(subject, Population):
        return [subject.frame]
    if not isinstance(subject, Listed):
        return [subject]
    names = {network_of(frame).name for frame in subject.frames}
    if len(names) > 1:
        raise BadArgument(f"frames: of {', '.join(sorted(names))}; expected frames of one network")
    return subject.frames


def _whole_s(subject: Population, channels: Sequence[Any]) -> float:
    """Return about how long summing every payload whole takes, seconds of one processor."""
    return sum(subject.size * CHANNEL_COST * len(channel.matrices()[0]) ** 2 for channel in channels)


def _seen(subject: Any, sight: Sight, name: str, channels: Sequence[Any], n_bits: int, how: _How) -> list[Residual]:
    """Return a point for each channel, as it is for the receivers there are."""
    told: dict[str, Any] = {"network": name, "n_bits": n_bits, "answering": how.same_end}
    if sight.reach == "common" and name in FLAGGING:
        return [noticed_by_the_sender(channel, n_bits) for channel in channels]
    if isinstance(subject, Listed) and name != EXACT:
        each = [
            [
                seen_as(point, sight, channel, **told)
                for point, channel in zip(_elsewhere(frame, channels, how), channels, strict=True)
            ]
            for frame in subject.frames
        ]
        shares = subject.shares.tolist()
        return [_weighed([points[place] for points in each], shares) for place in range(len(channels))]
    points = _points(subject, name, channels, how)
    return [seen_as(point, sight, channel, **told) for point, channel in zip(points, channels, strict=True)]


def _points(subject: Any, name: str, channels: Sequence[Any], how: _How) -> list[Residual]:
    """Return a point for each channel, by the method that applies."""
    if isinstance(subject, Population):
        if name != EXACT:
            raise NotFeasible(f"population: means over payloads are taken on {EXACT} alone; list frames of {name}")
        return _over_payloads(subject, channels, how)
    if isinstance(subject, Listed):
        return _over_list(subject, channels, how)
    return _of_can_frame(subject, channels, how) if name == EXACT else _elsewhere(subject, channels, how)


def _of_can_frame(frame: Any, channels: Sequence[Any], how: _How) -> list[Residual]:
    for channel in channels:
        n_states = len(channel.matrices()[0])
        cost = CHANNEL_COST * n_states**2
        if cost > how.budget_s:
            on, fewer = (f" on a channel with {n_states} states", ", or a channel with fewer states")
            raise NotFeasible(
                f"residual{on if n_states > 1 else ''}: about {cost:,.0f} s of processor time for one frame, "
                f"budget_s={how.budget_s:g}; give more time{fewer if n_states > 1 else ''}"
            )
    line = line_of(encode(frame))
    tree = same_content(line)
    counts = counts_by_flips(line, tree=tree)
    points = []
    for done, channel in enumerate(channels):
        how.show(done / len(channels), "summing over all flip patterns")
        points.append(_exact_point(line, tree, counts, channel, how.same_end))
    return points


def _exact_point(line: Line, tree: Tree, counts: Counts, channel: Any, same_end: bool) -> Residual:
    fate = fate_of(line, channel.matrices(), tree=tree, of_end=line.accept_at if same_end else None)
    value = fate.by_end.get(line.accept_at, 0.0) if same_end else fate.undetected
    shares: dict[int, float] = {}
    if isinstance(channel, Scatter) and value > 0:
        by_flips = counts.weights(channel.bit_error_ratio, same_end=same_end).sum(axis=1)
        shares = {flips: float(by_flips[flips]) / value for flips in range(1, counts.up_to + 1)}
        shares[counts.up_to + 1] = max(0.0, 1 - sum(shares.values()))
    others = sum(chance for end, chance in fate.by_end.items() if end != line.accept_at)
    return Residual(
        probability=value,
        low=value,
        high=value + fate.omitted,
        confidence=1.0,
        # What was left out is stated; where it is more than nothing beside the value, that is a limit and no figure.
        method="exact" if fate.omitted <= EXACT_WITHIN * value or not fate.omitted else "bounded",
        basis="every flip pattern summed through all states of receiver, CRC register and channel",
        channel=channel.describe(),
        by_check=fate.by_check,
        delivered=fate.delivered,
        unseen=fate.unseen,
        other_end=others if same_end else None,
        patterns=counts.by_flips(same_end=same_end),
        shares=shares,
    )


def _over_payloads(subject: Population, channels: Sequence[Any], how: _How) -> list[Residual]:
    told: dict[str, Any] = {
        "same_end": how.same_end, "confidence": how.confidence, "target": how.target, "progress": how.progress
    }  # fmt: skip
    if all(isinstance(channel, Scatter) and 0 < channel.bit_error_ratio < 1 for channel in channels):
        ratios = [channel.bit_error_ratio for channel in channels]
        means = means_by_flips(subject, ratios, budget_s=how.budget_s, workers=how.workers, **told)
    else:
        share_s = how.budget_s / len(channels)
        means = [mean_on_channel(subject, channel.matrices(), budget_s=share_s, **told) for channel in channels]
    return [
        _mean_point(mean, channel, "stratified", f"exact counts for each frame, the frame as sampling unit; {method}")
        for mean, channel in zip(means, channels, strict=True)
        for method in [mean.estimate.method]
    ]


def _over_list(subject: Listed, channels: Sequence[Any], how: _How) -> list[Residual]:
    """Return the means over a list of classic CAN frames: nothing is sampled."""
    share_s = how.budget_s / len(channels)
    told: dict[str, Any] = {"same_end": how.same_end, "budget_s": share_s, "progress": how.progress}
    means = [mean_of_listed(subject, channel, **told) for channel in channels]
    basis = "every frame of the list summed whole over all flip patterns"
    return [_mean_point(mean, channel, "exact", basis) for mean, channel in zip(means, channels, strict=True)]


def _weighed(points: Sequence[Residual], shares: Sequence[float]) -> Residual:
    """Return the mean of points on one channel: limits that hold for each frame hold for the mean."""
    low, high = (
        sum(share * getattr(point, side) for share, point in zip(shares, points, strict=True))
        for side in ("low", "high")
    )
    return Residual(
        probability=high,
        low=low,
        high=high,
        confidence=1.0,
        method="exact" if all(point.method == "exact" for point in points) else "bounded",
        basis=f"mean over the frames of the list; {points[0].basis}",
        channel=points[0].channel,
        frames=len(points),
    )


def _mean_point(mean: Mean, channel: Any, method: str, basis: str) -> Residual:
    estimate = mean.estimate
    return Residual(
        probability=None if mean.reason else estimate.best,
        low=estimate.low,
        high=estimate.high,
        confidence=estimate.confidence,
        method=method,
        basis=basis,
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


def _elsewhere(frame: Any, channels: Sequence[Any], how: _How) -> list[Residual]:
    from framesim.coverage.linear.dispatch import residual_of

    sent = encode(frame)
    points = []
    for done, channel in enumerate(channels):
        how.show(done / len(channels), "summing over code words")
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
