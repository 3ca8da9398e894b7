"""The work of a sampling campaign, cut into units that depend on (work, seed, number) alone."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Literal, NamedTuple

import numpy as np
from bitarray import bitarray, frozenbitarray

from framesim.coverage.fast.engines import engine_for
from framesim.coverage.fast.keyed import known_by_all
from framesim.coverage.fast.reference import Reference
from framesim.coverage.fast.sending import Drawn, bounds_of, draw_frames
from framesim.disturbance import Channel
from framesim.errors import BadArgument, check_number, check_range
from framesim.judging import encode, judge
from framesim.networks.receiver import Reception
from framesim.networks.registry import network_of
from framesim.plain import frame_fields
from framesim.wire import WireFrame
from framesim.words import Outcome

__all__ = ["LARGEST_NUMBER", "Sampling", "UnitResult"]

Acceptance = Literal["receiver_only", "same_end"]
LARGEST_NUMBER = (1 << 32) - 1
MOST_CASES = 1000
KEPT = 4096  # judgements of a unit, in case they come again


class UnitResult(NamedTuple):
    """What one unit of work gave; counts of units add up.

    Attributes:
        counts: ``frames`` sent; ``disturbed`` ones; ``flips`` in them; ``delivered``, ``undetected`` and ``unseen``
            frames; ``first.<check>``, frames by the first check to speak; ``other_end``, frames accepted with wrong
            content at another time than the sender's, where those do not count as undetected; ``payloads``, different
            frames, and ``payloads.undetected``, those of them with an undetected frame: what is independent.
        cases: undetected frames, ascending: which of the unit's payloads (``drawn``), what was sent, which bits
            flipped, and what was accepted; ready for JSON.
    """

    counts: dict[str, int]
    cases: list[dict[str, Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampling:
    """What is sent through which channel, and in what portions.

    A unit draws ``payloads`` frames from the sources and sends each ``repeats`` times, each time under flips of its
    own. Frames of one payload are not independent of each other in how likely they pass undetected: count payloads
    where that matters.

    Attributes:
        sources: frames, or ``Payloads`` populations of frames; all of one network. Whole frames are sent as they are.
        weights: how often each source is drawn, relative to the others; None: all alike.
        channel: flips bits at one receiver, independently for each frame sent, between its first and its last bit.
        payloads: frames drawn for a unit.
        repeats: how often each of them is sent.
        acceptance: ``"receiver_only"``: whatever the receiver accepts counts. ``"same_end"``: only what it accepts at
            the sender's own end; otherwise its acknowledgement hits the sender's frame, and the sender objects.
        most_cases: undetected cases listed per unit.
    """

    sources: tuple[Any, ...]
    weights: tuple[float, ...] | None = None
    channel: Channel
    payloads: int = 1024
    repeats: int = 1024
    acceptance: Acceptance = "receiver_only"
    most_cases: int = 20
    network: str = field(init=False)

    def __post_init__(self) -> None:
        if not isinstance(self.sources, tuple) or not self.sources:
            raise BadArgument("sources: expected a tuple of at least one frame or Payloads")
        named = {network_of(bounds_of(source)[0]).name for source in self.sources}
        if len(named) != 1:
            raise BadArgument(f"sources: of {len(named)} networks ({', '.join(sorted(named))}), must be of one")
        object.__setattr__(self, "network", named.pop())
        if self.weights is not None:
            if len(self.weights) != len(self.sources):
                raise BadArgument(f"weights: {len(self.weights)} of them, must be {len(self.sources)}, one a source")
            for place, weight in enumerate(self.weights):
                check_number(f"weights[{place}]", weight, 0, 1e12)
            if not sum(self.weights) > 0:
                raise BadArgument("weights: must not all be 0")
        if not isinstance(self.channel, Channel):
            raise BadArgument(f"channel={self.channel!r}: expected a channel")
        check_range("payloads", self.payloads, 1, 1 << 20, base="d")
        check_range("repeats", self.repeats, 1, 1 << 24, base="d")
        check_range("most_cases", self.most_cases, 0, MOST_CASES, base="d")
        if self.acceptance not in ("receiver_only", "same_end"):
            raise BadArgument(f"acceptance={self.acceptance!r}: expected 'receiver_only' or 'same_end'")

    @property
    def frames_a_unit(self) -> int:
        """Frames sent in one unit."""
        return self.payloads * self.repeats

    @property
    def note(self) -> str:
        """Why units are slow; empty if a compiled receiver does them."""
        return _engine_of(self).note  # type: ignore[no-any-return]

    def unit(self, seed: int, number: int) -> UnitResult:
        """Do one unit of the work; the result depends on this record, the seed and the number alone.

        Args:
            seed: of every random draw, 0..2^64 - 1.
            number: of the unit, 0..2^32 - 1.

        Raises:
            BadArgument: an argument out of range, or a channel that asks for more flips than a frame has bits.
        """
        check_range("seed", seed, 0, (1 << 64) - 1, base="d")
        check_range("number", number, 0, LARGEST_NUMBER, base="d")
        shares = np.ones(len(self.sources)) if self.weights is None else np.array(self.weights, np.float64)
        drawn = draw_frames(self.sources, shares / shares.sum(), self.payloads, seed=seed, number=number)
        judged = _engine_of(self).judge(self, drawn, seed, number)
        return self._result(drawn, judged)

    def describe(self) -> dict[str, Any]:
        """Return all that a result depends on but seed and number, ready for JSON."""
        sources = []
        for source in self.sources:
            frame, low, high = bounds_of(source)
            sources.append({"frame": frame_fields(frame), "low": low.hex(), "high": high.hex()})
        return {
            "network": self.network,
            "sources": sources,
            "weights": None if self.weights is None else list(self.weights),
            "channel": self.channel.describe(),
            "payloads": self.payloads,
            "repeats": self.repeats,
            "acceptance": self.acceptance,
            "most_cases": self.most_cases,
        }

    def _result(self, drawn: Drawn, judged: "Judged") -> UnitResult:
        counts: Counter[str] = Counter(judged.counts)
        counts["frames"], counts["payloads"] = self.frames_a_unit, self.payloads
        counts["delivered"] += self.frames_a_unit - counts["disturbed"]
        cases, wrong = [], set(judged.passed)
        # Where one frame is sent over and over, the same few patterns pass every time. Frames that compare as equal may
        # be sent in different ways (SENT's pause pulse), so each is known by all that it shows.
        frame_of = lru_cache(KEPT)(lambda index: known_by_all(frame_at(self, drawn, index)))
        wire_of = lru_cache(KEPT)(lambda frame: encode(frame.value))
        word_on = lru_cache(KEPT)(lambda frame, seen: judge(wire_of(frame), seen))
        for index, read in judged.aside:
            frame, seen = frame_of(index), frozenbitarray(read)
            sent, judgement = wire_of(frame), word_on(frame, seen)
            if judgement.outcome is Outcome.DETECTED and judgement.check is not None:
                counts[f"first.{judgement.check.value}"] += 1
            elif judgement.outcome is not Outcome.UNDETECTED:
                counts[judgement.outcome.value] += 1
            elif self.acceptance == "same_end" and judgement.reception.valid_at != _own_end(sent):
                counts["other_end"] += 1
            else:
                counts["undetected"] += 1
                wrong.add(index)
                cases.append(_Case(sent.bits.to01(), _flips(sent, seen), index, sent, judgement.reception))
        counts["payloads.undetected"] = len(wrong)
        cases.sort(key=lambda case: case[:3])
        kept = {name: counts[name] for name in sorted({*counts, *ALWAYS}) if counts[name] or name in ALWAYS}
        return UnitResult(counts=kept, cases=[case.to_json() for case in cases[: self.most_cases]])


#: counts that a unit always names, zero or not
ALWAYS = (
    "frames", "disturbed", "flips", "delivered", "undetected", "unseen", "payloads", "payloads.undetected",
)  # fmt: skip


class Judged(NamedTuple):
    """What an engine found.

    Attributes:
        counts: ``disturbed``, ``flips``, ``delivered`` among the disturbed, ``first.<check>``; what an engine can tell
            of ``undetected``, ``unseen`` and ``other_end`` without the judge. The first ``most_cases`` undetected
            frames, by wire and flips, are always put aside.
        aside: number of the frame drawn, and what the receiver saw, where the judge must decide.
        passed: numbers of the frames drawn that passed undetected, where the engine counted that itself.
    """

    counts: Mapping[str, int]
    aside: list[tuple[int, bitarray]]
    passed: frozenset[int] = frozenset()


def frame_at(work: Sampling, drawn: Drawn, index: int) -> Any:
    """Return the frame drawn as number ``index``."""
    from dataclasses import replace

    which = int(drawn.template[index])
    frame = bounds_of(work.sources[which])[0]
    payload = drawn.payloads[which][drawn.row[index]].tobytes()
    return replace(frame, payload=payload) if isinstance(getattr(frame, "payload", None), bytes) else frame


@lru_cache(maxsize=4096)
def _own_end(sent: WireFrame) -> int | None:
    return judge(sent, sent.bits).reception.valid_at


class _Case(NamedTuple):
    """An undetected frame; cases stand in the order of the first three."""

    wire: str
    flips: list[int]
    drawn: int
    sent: WireFrame
    reception: Reception

    def to_json(self) -> dict[str, Any]:
        return {
            "network": self.sent.network,
            "drawn": self.drawn,
            "frame": frame_fields(self.sent.frame),
            "wire": self.wire,
            "flips": self.flips,
            "accepted": frame_fields(self.reception.frame),
            "accepted_as": type(self.reception.frame).__name__,
            "valid_at": self.reception.valid_at,
        }


def _flips(sent: WireFrame, seen: bitarray) -> list[int]:
    n_bits = min(len(sent), len(seen))
    return list((sent.bits[:n_bits] ^ seen[:n_bits]).search(1))


def _engine_of(work: Sampling) -> Any:
    """Return what judges frames of this network fastest here."""
    networks = {id(network): network for network in (network_of(bounds_of(source)[0]) for source in work.sources)}
    found = [engine_for(network, work.sources) for network in networks.values()]
    if all(engine == found[0] for engine in found):
        return found[0]
    return Reference(note="several configurations of a network: every disturbed frame goes to the reference")
