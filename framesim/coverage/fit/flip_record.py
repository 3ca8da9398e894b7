"""Flips of a run of bits, as something to fit a channel to: read from a file, or drawn from a scenario's cause."""

import dataclasses
import json
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.channel_file import read_text
from framesim.coverage.scenario import Scenario
from framesim.coverage.tables import expect_type
from framesim.disturbance import Ignition, LinkHits, PulseTrain, RecordedWaveform, SparkEvent
from framesim.disturbance.streams import Purpose
from framesim.errors import BadArgument, BadInput, check_number, check_range

__all__ = ["FlipRecord", "draw_flips", "random_levels", "read_flips"]

Places = NDArray[np.int64]
MOST_BITS = 1 << 50
MOST_RUN_BITS = 1e12
WINDOW_S = 20.0  # of the run, drawn at once: what an interruption costs
JOINED_S = 1e-3  # loud bits with a shorter pause between them belong to one active stretch
LONGEST_FILE = 200_000_000  # bytes: some 20 million flips
EXPECTED = "a JSON object with bits (how many) and flips (their places, ascending), as framesim waveform --json writes"

#: Called with the share done (0..1) and a word on what is being done.
Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlipRecord:
    """Which of a run of bits were read wrong.

    Attributes:
        n_bits: length of the run.
        flips: dtype int64. shape: (n_flips,). Places in ``0..n_bits - 1``, strictly ascending.
        active: stretches (start, stop) of bits in which the cause was at work, ascending and apart; None if unknown.
        origin: where the flips come from, in words.
        partial: the drawing was interrupted; the run is then shorter than was asked for.

    Raises:
        BadArgument: places out of order or out of range.
    """

    n_bits: int
    flips: Places
    active: tuple[tuple[int, int], ...] | None = None
    origin: str = ""
    partial: bool = False

    def __post_init__(self) -> None:
        check_range("n_bits", self.n_bits, 1, MOST_BITS, base="d")
        places = self.flips
        if places.size and ((np.diff(places) <= 0).any() or places[0] < 0 or places[-1] >= self.n_bits):
            raise BadArgument(f"flips: must ascend without repeats within 0..{self.n_bits - 1}")
        if self.active is not None:
            edges = [edge for pair in self.active for edge in pair]
            rising = all(low < high for low, high in self.active)
            apart = all(one[1] <= other[0] for one, other in pairwise(self.active))
            if not rising or not apart or (edges and (edges[0] < 0 or edges[-1] > self.n_bits)):
                raise BadArgument(f"active: must be stretches [start, stop] that ascend within 0..{self.n_bits}")

    @property
    def gaps(self) -> Places:
        """Bits from each flip to the next, at least 1. shape: (n_flips - 1,)."""
        return np.diff(self.flips)


def read_flips(path: str) -> FlipRecord:
    """Return the flips that a file holds.

    Raises:
        BadInput: no such file, not JSON, or a key missing or out of place; the message names file and key.
    """
    text = read_text(path, what=EXPECTED, longest=LONGEST_FILE)
    try:
        table = json.loads(text)
    except (ValueError, RecursionError):
        raise BadInput(f"{path}: not JSON; expected {EXPECTED}") from None
    if not isinstance(table, dict):
        raise BadInput(f"{path}: expected {EXPECTED}")
    for key in ("bits", "flips"):
        if key not in table:
            raise BadInput(f"{path}: {key}: missing; expected {EXPECTED}")
    n_bits = expect_type(table["bits"], int, file=path, key="bits")
    flips = expect_type(table["flips"], tuple[int, ...], file=path, key="flips")
    active = None
    if table.get("active") is not None:
        active = expect_type(table["active"], tuple[tuple[int, int], ...], file=path, key="active")
    try:
        if any(abs(place) > MOST_BITS for place in flips):
            raise BadArgument(f"flips: must lie within 0..{MOST_BITS}")
        return FlipRecord(n_bits=n_bits, flips=np.array(flips, np.int64), active=active, origin=path)
    except BadArgument as refusal:
        raise BadInput(f"{path}: {refusal}") from None


def random_levels(bits: Places, seed: int) -> NDArray[np.uint8]:
    """Return a random level for every bit, the same whenever it is asked for.

    The mixing function is that of SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators",
    OOPSLA 2014).
    """
    mixed = bits.astype(np.uint64) + np.uint64((seed * 0x9E3779B97F4A7C15 + int(Purpose.LEVELS)) & (1 << 64) - 1)
    mixed = mixed * np.uint64(0x9E3779B97F4A7C15)
    for shift, factor in ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB)):
        mixed = (mixed ^ (mixed >> np.uint64(shift))) * np.uint64(factor)
    return ((mixed >> np.uint64(63)) & np.uint64(1)).astype(np.uint8)


def draw_flips(scenario: Scenario, seconds: float, *, progress: Progress | None = None) -> FlipRecord:
    """Return the flips that the scenario's cause makes on its link, all bits sent, their levels random.

    A ``KeyboardInterrupt`` ends the drawing; the record then is of the run until there and says that it is partial. If
    nothing was drawn, the interruption is raised again.

    Args:
        scenario: its disturbance must be an engine (the first severity counts), a pulse train or a recording.
        seconds: how long; of a recording played once, its own length at most.
        progress: called now and then.

    Raises:
        BadArgument: a value is out of range, or the disturbance is a channel already.
    """
    check_number("seconds", seconds, 0, 1e6, unit="s", open_low=True)
    link, cause = scenario.link, scenario.disturbance
    n_bits = round(seconds * link.bit_rate)
    if not 1 <= n_bits <= MOST_RUN_BITS:
        raise BadArgument(f"seconds={seconds:g}: {n_bits:,} bits; must be 1 to {MOST_RUN_BITS:g}")

    def levels(bits: Places) -> NDArray[np.uint8]:
        return random_levels(bits, scenario.seed)

    if isinstance(cause, RecordedWaveform):
        return _of_recording(scenario, cause, n_bits, progress)
    if isinstance(cause, Ignition):
        cause = dataclasses.replace(cause, severity=scenario.severities[0])
    elif not isinstance(cause, PulseTrain):
        raise BadArgument("disturbance: is a channel already; expected kind ignition, pulse-train or waveform")

    def walk(first: int, stop: int) -> LinkHits:
        if isinstance(cause, PulseTrain):
            return cause.walk(link, first, stop, scenario.seed, levels)
        return link.walk(cause, first, stop, scenario.seed, levels)

    hits, reached = _drawn(walk, (0, n_bits), round(WINDOW_S * link.bit_rate), progress)
    seconds = seconds if reached == n_bits else reached / link.bit_rate
    if isinstance(cause, PulseTrain):
        spans = _bursts(cause, seconds, scenario.seed)
        name = f"pulse train {cause.profile}"
    else:
        spans = _clusters(cause, seconds, scenario.seed)
        speeds = [speed for _, speed in cause.speed_profile or ((0.0, cause.speed_rpm),)]
        pace = f"{min(speeds):g} to {max(speeds):g}" if cause.speed_profile else f"{cause.speed_rpm:g}"
        name = f"ignition, {cause.severity}, {pace} rpm"
    active = _joined(np.floor(spans * link.bit_rate).astype(np.int64), reached)
    origin = f"{name}, {seconds:g} s at {link.bit_rate:g} bit/s, random levels, seed {scenario.seed}"
    return FlipRecord(n_bits=reached, flips=hits.flipped, active=active, origin=origin, partial=reached < n_bits)


def _drawn(
    walk: Callable[[int, int], LinkHits], bits: tuple[int, int], piece: int, progress: Progress | None
) -> tuple[LinkHits, int]:
    """Return the hits of bits from the first to before the last, piece by piece, and how many bits were drawn."""
    (first, stop), pieces, step = bits, [], max(1, piece)
    try:
        for begin in range(first, stop, step):
            end = min(begin + step, stop)
            pieces.append(walk(begin, end))
            if progress is not None:
                progress((end - first) / (stop - first), "drawing flips")
    except KeyboardInterrupt:
        if not pieces:
            raise
    reached = min(len(pieces) * step, stop - first)
    return LinkHits(*(np.concatenate(bits) for bits in zip(*pieces, strict=True))), reached


def _of_recording(scenario: Scenario, cause: RecordedWaveform, n_bits: int, progress: Progress | None) -> FlipRecord:
    """Return the flips that a recording makes, from its first whole bit on; loud bits are when it was at work."""
    rate, wave = scenario.link.bit_rate, cause.waveform
    first = int(np.ceil(wave.start_s * rate - 1e-6))
    if cause.repeat_s is None:
        n_bits = min(n_bits, max(1, int(np.floor(wave.stop_s * rate + 1e-6)) - first))
    asked = n_bits

    def walk(begin: int, stop: int) -> LinkHits:
        return cause.walk(scenario.link, begin, stop, scenario.seed, lambda bits: random_levels(bits, scenario.seed))

    # All of a recording is gone through for any part of it: shorter pieces would each do all of the work.
    hits, n_bits = _drawn(walk, (first, first + asked), round(max(WINDOW_S, cause.lasts_s) * rate), progress)
    touched = hits.touched - first
    breaks = np.flatnonzero(np.diff(touched) > JOINED_S * rate)
    spans = np.stack([touched[np.r_[0, breaks + 1]], touched[np.r_[breaks, -1]]], axis=1) if touched.size else touched
    origin = f"recording {cause.file}, {n_bits / rate:g} s at {rate:g} bit/s, random levels, seed {scenario.seed}"
    return FlipRecord(
        n_bits=n_bits, flips=hits.flipped - first, active=_joined(spans, n_bits), origin=origin, partial=n_bits < asked
    )


def _clusters(engine: Ignition, seconds: float, seed: int) -> NDArray[np.float64]:
    """Return when each spark burns, from breakdown to the end of its glow. shape: (n, 2)."""
    spans = []
    for start, stop in engine.windows(0, seconds):
        times = engine.events(start, stop, seed).only(SparkEvent.BREAKDOWN).time_s
        spans.append(np.stack([times, times + engine.value("glow_s")], axis=1))
    return np.concatenate(spans)


def _bursts(train: PulseTrain, seconds: float, seed: int) -> NDArray[np.float64]:
    """Return when each burst lasts, from its first pulse to its last. shape: (n, 2)."""
    times = train.starts(0, seconds, seed)
    if not times.size:
        return np.empty((0, 2))
    breaks = np.flatnonzero(np.diff(times) > 2 * train.published.pulse_s)
    first, last = np.concatenate([[0], breaks + 1]), np.concatenate([breaks, [times.size - 1]])
    return np.stack([times[first], times[last]], axis=1)


def _joined(spans: Places, n_bits: int) -> tuple[tuple[int, int], ...]:
    """Return stretches of whole bits, those that touch made one."""
    joined: list[tuple[int, int]] = []
    for first, last in spans.tolist():
        start, stop = max(0, first), min(n_bits, last + 1)
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(stop, joined[-1][1]))
        elif start < stop:
            joined.append((start, stop))
    return tuple(joined)
