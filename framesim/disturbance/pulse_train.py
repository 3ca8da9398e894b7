"""Published pulse trains: test pulses of two standards, as a cause of their own. They imitate switching contacts.

They are **not** an ignition: neither standard's pulses stand for sparks, and nothing here mixes the two. Shapes and
timing of the fast 5/50 ns transients: IEC 61000-4-4 (read in a secondary source: 5 ns rise, 50 ns to half value,
bursts every 300 ms, 15 ms at 5 kHz or 0.75 ms at 100 kHz). Of the 150 ns pulses: ISO 7637-2, fast pulses 3a and 3b
(100 us apart for 10 ms, then 90 ms of rest; 2011 edition from memory). All levels are from memory: buy the standards.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from framesim.disturbance.can_link import CanLink, LevelAt, LinkHits
from framesim.disturbance.pulses import Pulses
from framesim.disturbance.streams import Purpose, unit_uniforms
from framesim.errors import BadArgument, check_number, check_range

__all__ = ["LEVELS_NOTE", "PROFILES", "Profile", "PulseTrain"]

LEVELS_NOTE = (
    "Published pulse trains imitate switching contacts, not ignition. Shapes and timing as quoted from the standards; "
    "levels from memory, and the coupled voltage is an estimate: buy the standards. This is no conformity test."
)

_PULSES_AT_ONCE = 1 << 16
_CLEAR = 30.0  # decay times between two pulses: what is left of the first is below 1e-12 of it


class Profile(NamedTuple):
    """One published train.

    Attributes:
        about: what it is, in a few words.
        source: where shape and timing come from.
        levels: what the standard asks for at its generator, from memory.
        rise_s: time constant of the rise, such that 10 % to 90 % take as long as published.
        decay_s: time constant of the decay, such that the pulse lasts as long as published.
        pulse_s: from one pulse to the next in a burst.
        burst_s: length of a burst.
        every_s: from one burst to the next.
    """

    about: str
    source: str
    levels: str
    rise_s: float
    decay_s: float
    pulse_s: float
    burst_s: float
    every_s: float


_FAST_LEVELS = "0.25, 0.5, 1, 2 kV on signal ports, into 50 ohm; from memory"
# The double exponentials that take 5 ns from 10 % to 90 %, and last 50 ns at half height or 150 ns at a tenth of it.
_TO_HALF = (3.291e-9, 55.610e-9)
_TO_TENTH = (3.235e-9, 59.498e-9)
PROFILES: Mapping[str, Profile] = {
    "fast_pulses_100us": Profile(
        "150 ns pulses every 100 us, 10 ms on, 90 ms off",
        "ISO 7637-2, fast pulses 3a and 3b (duration to 10 %; edition 2011, from memory)",
        "12 V system: 112 to 220 V negative, 75 to 150 V positive; from memory",
        *_TO_TENTH,
        100e-6,
        10e-3,
        100e-3,
    ),
    "transients_5khz": Profile(
        "5/50 ns pulses at 5 kHz, 15 ms in every 300 ms",
        "IEC 61000-4-4 (duration to half value)",
        _FAST_LEVELS,
        *_TO_HALF,
        200e-6,
        15e-3,
        300e-3,
    ),
    "transients_100khz": Profile(
        "5/50 ns pulses at 100 kHz, 0.75 ms in every 300 ms",
        "IEC 61000-4-4 (duration to half value)",
        _FAST_LEVELS,
        *_TO_HALF,
        10e-6,
        0.75e-3,
        300e-3,
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PulseTrain:
    """A published pulse train, coupled onto the harness of a pair.

    Bursts come every so often from a random start on; inside a burst each pulse stands in its own place, moved by a
    share of the pulse distance, since a generator keeps no step with the bits. Bursts are addressed by seed and
    number, so any window can be drawn alone.

    Attributes:
        profile: ``fast_pulses_100us``, ``transients_5khz`` or ``transients_100khz``.
        coupled_volts: peak on the harness, both wires against ground; an estimate, not a level of a standard.
        polarity: ``positive`` drives the difference voltage towards dominant, ``negative`` towards recessive.
        jitter: how far a pulse may stand from its place, as a share of the pulse distance, evenly; an estimate.

    Raises:
        BadArgument: a value is out of range.
    """

    profile: Literal["fast_pulses_100us", "transients_5khz", "transients_100khz"]
    coupled_volts: float = 100.0
    polarity: Literal["positive", "negative"] = "positive"
    jitter: float = 0.2

    def __post_init__(self) -> None:
        if not isinstance(self.profile, str) or self.profile not in PROFILES:
            raise BadArgument(f"profile={self.profile!r}: must be one of {', '.join(PROFILES)}")
        check_number("coupled_volts", self.coupled_volts, 0, 2000, unit="V")
        if self.polarity not in ("positive", "negative"):
            raise BadArgument(f"polarity={self.polarity!r}: must be positive or negative")
        check_number("jitter", self.jitter, 0, 0.25)

    @property
    def published(self) -> Profile:
        """The published figures."""
        return PROFILES[self.profile]

    @property
    def pulses_per_burst(self) -> int:
        """Pulses in a burst."""
        return round(self.published.burst_s / self.published.pulse_s)

    @property
    def pulses_per_second(self) -> float:
        """Pulses a second, pauses between bursts included."""
        return self.pulses_per_burst / self.published.every_s

    def starts(self, start_s: float, stop_s: float, seed: int) -> npt.NDArray[np.float64]:
        """Draw the starts of all pulses with ``start_s <= time < stop_s``, ascending.

        Raises:
            BadArgument: the window ends before it starts, or the seed is out of range.
        """
        check_number("start_s", start_s, -1e7, 1e7, unit="s")
        check_number("stop_s", stop_s, start_s, 1e7, unit="s")
        form, count = self.published, self.pulses_per_burst
        offset = float(unit_uniforms(seed, Purpose.TRAIN_START, 0, 1, 4)[0, 0]) * form.every_s
        first = int(np.floor((start_s - offset - form.burst_s) / form.every_s)) - 1
        last = int(np.ceil((stop_s - offset) / form.every_s)) + 1
        width = -(-count // 4) * 4
        shares = unit_uniforms(seed, Purpose.TRAIN_PULSES, first, last - first + 1, width)[:, :count]
        places = np.arange(count) + self.jitter * (2 * shares - 1)
        times = (offset + np.arange(first, last + 1)[:, None] * form.every_s + places * form.pulse_s).ravel()
        inside: npt.NDArray[np.float64] = times[(times >= start_s) & (times < stop_s)]
        return inside

    def through(self, link: CanLink, start_s: float, stop_s: float, seed: int) -> Pulses:
        """Return the pulses of a window as difference voltage behind the low-pass of a receiver."""
        start = self.starts(start_s, stop_s, seed)
        sign = 1.0 if self.polarity == "positive" else -1.0
        return Pulses.through(
            start_s=start,
            volts=np.full(start.size, sign * self.coupled_volts * link.conversion),
            rise_s=self.published.rise_s,
            decay_s=self.published.decay_s,
            bandwidth_hz=link.bandwidth_hz,
        )

    def reach_s(self, link: CanLink) -> float:
        """Return how long before a bit a pulse may start and still matter."""
        return 30 * max(self.published.decay_s, 1 / (2 * np.pi * link.bandwidth_hz))

    def walk(self, link: CanLink, first_bit: int, stop_bit: int, seed: int, level_at: LevelAt) -> LinkHits:
        """Return the hits of bits ``first_bit .. stop_bit - 1`` of a link, piece by piece; see ``CanLink.walk``.

        Raises:
            BadArgument: the receiver is so slow that a pulse would still be heard when the next one comes.
        """
        check_range("first_bit", first_bit, -(1 << 50), 1 << 50, base="d")
        check_range("stop_bit", stop_bit, first_bit, 1 << 50, base="d")
        nearest_s = self.published.pulse_s * (1 - 2 * self.jitter)
        if self.reach_s(link) > nearest_s:
            raise BadArgument(
                f"bandwidth_hz={link.bandwidth_hz:g}: too slow for pulses {nearest_s:.2g} s apart; must be at least "
                f"{_CLEAR / (2 * np.pi * nearest_s):.2g} Hz"
            )
        found = [LinkHits(*(np.empty(0, np.int64) for _ in range(3)))]
        step = max(1, int(_PULSES_AT_ONCE / self.pulses_per_second * link.bit_rate))
        for first in range(first_bit, stop_bit, step):
            stop = min(first + step, stop_bit)
            start_s = first / link.bit_rate - self.reach_s(link)
            hits = link.hits_of(self.through(link, start_s, (stop + 1) / link.bit_rate, seed), level_at)
            found.append(LinkHits(*(bits[(bits >= first) & (bits < stop)] for bits in hits)))
        return LinkHits(*(np.concatenate(bits) for bits in zip(*found, strict=True)))

    def describe(self) -> dict[str, Any]:
        """Return the train, its published figures and how well each is known, ready for JSON."""
        return {
            "kind": "pulse_train",
            "profile": self.profile,
            "coupled_volts": self.coupled_volts,
            "polarity": self.polarity,
            "jitter": self.jitter,
            **self.published._asdict(),
            "estimates": ["coupled_volts", "jitter"],
            "note": LEVELS_NOTE,
        }
