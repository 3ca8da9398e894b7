"""A scenario: what is sent, over which link, under which disturbance, and for how long."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from framesim.analog import AnalogLine
from framesim.coverage.channel_file import FEW_STATES, channel_from_table, parse_toml, read_text
from framesim.coverage.idle_keys import refuse_idle_keys
from framesim.coverage.tables import build, expect_keys, expect_type
from framesim.disturbance import (
    Bursts,
    CanLink,
    GilbertElliott,
    Ignition,
    Markov,
    PulseTrain,
    RecordedWaveform,
    Scatter,
)
from framesim.disturbance.links import CanFdLink, EthernetLink, FlexRayLink, LinLink, SentLink
from framesim.disturbance.links.receivers import MOST_RECEIVERS
from framesim.errors import BadArgument, BadInput, check_number, check_range

__all__ = ["OTHER_LINKS", "SWEEPER", "Scenario", "Sender", "Signal", "load_scenario"]

LARGEST = 1e12  # of a physical value
Severity = Literal["good", "typical", "poor", "fault"]

#: Links that may stand beside the CAN link, each under its network's name.
OTHER_LINKS: Mapping[str, type] = {
    "can-fd": CanFdLink,
    "lin": LinLink,
    "flexray": FlexRayLink,
    "ethernet": EthernetLink,
    "sent": SentLink,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """The value that both lines carry: an invented course, a slow swing and a faster ripple.

    Attributes:
        name: what is measured.
        unit: of ``low``, ``high`` and the value.
        low: value that 0.5 V on the analog line and 0 in the frame stand for.
        high: value that 4.5 V and the full 16-bit word stand for.
        centre: middle of the swing.
        swing: height of the swing, to either side.
        swing_s: period of the swing, seconds.
        every_s: how often the value is sent and sampled, seconds.
    """

    name: str
    unit: str
    low: float
    high: float
    centre: float
    swing: float
    swing_s: float
    every_s: float

    def __post_init__(self) -> None:
        for name in ("low", "high", "centre", "swing"):
            check_number(name, getattr(self, name), -LARGEST, LARGEST)
        check_number("swing_s", self.swing_s, 1e-3, LARGEST, unit="s")
        check_number("every_s", self.every_s, 1e-4, 3600, unit="s")
        if self.low >= self.high:
            raise BadArgument(f"high={self.high:g}: must be more than low={self.low:g}")
        reach = abs(self.swing) * 1.25
        if self.centre - reach < self.low or self.centre + reach > self.high:
            raise BadArgument(
                f"swing={self.swing:g}: with ripple, centre ± 1.25 swing must stay within {self.low:g}..{self.high:g}"
            )

    def share_at(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the value at each time as a share 0..1 of the range; shape as given."""
        turn = 2 * np.pi * time_s / self.swing_s
        value = self.centre + self.swing * (np.sin(turn) + 0.25 * np.sin(7.3 * turn))
        return np.asarray((value - self.low) / (self.high - self.low))

    def volts_at(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what the sensor puts on the analog line: 0.5..4.5 V over the range."""
        return 0.5 + 4.0 * self.share_at(time_s)

    def words_at(self, time_s: NDArray[np.float64]) -> NDArray[np.int64]:
        """Return what the sensor's controller puts into the frame: 0..65535 over the range."""
        return np.rint(self.share_at(time_s) * 65535).astype(np.int64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sender:
    """Who sends the value as a frame.

    Attributes:
        network: only classic CAN for now.
        identifier: of the frame.
        extended: 29-bit identifier.
        payload_bytes: 3..8: the value (two bytes, high byte first), a counter, and other signals of the same node.
    """

    network: Literal["can"] = "can"
    identifier: int
    extended: bool = False
    payload_bytes: int = 8

    def __post_init__(self) -> None:
        top = 0x1FFF_FFFF if self.extended else 0x7FF
        check_range("identifier", self.identifier, 0, top, clause="ISO 11898-1, identifier")
        check_range("payload_bytes", self.payload_bytes, 3, 8, base="d")

    @property
    def fewest_bits(self) -> int:
        """Wire bits of a frame without a single stuff bit."""
        return (64 if self.extended else 44) + 8 * self.payload_bytes

    @property
    def most_bits(self) -> int:
        """A number of wire bits that no frame of this sender exceeds: a stuff bit for every four others."""
        return self.fewest_bits + self.fewest_bits // 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """Everything that a coverage run depends on.

    Attributes:
        title: shown on top of the report.
        note: where the data come from.
        seed: of every random draw.
        confidence: of every interval.
        signal: the value.
        sender: the frame that carries it.
        link: how sparks reach the frame's wire and how its receiver decides.
        analog: the same value as a voltage.
        links: network → how sparks reach it, for links beside the first; each carries the same value.
        receivers: how many there are on each bus; the first is the link as given, the others draw theirs.
        disturbance: the engine, a published pulse train, a recorded waveform, or a channel that flips bits.
        severities: for an engine: how close to the ignition the wires lie; one report column each.
        hours: for an engine, a pulse train or a waveform that is repeated: how long it runs.
        frames: for a channel: how many frames are sent.
        wrong_from_lsb: from how many ADC steps on a sample counts as wrong.
    """

    title: str
    note: str = ""
    seed: int = 1
    confidence: float = 0.95
    signal: Signal
    sender: Sender
    link: CanLink
    analog: AnalogLine
    disturbance: Ignition | PulseTrain | RecordedWaveform | Scatter | Bursts | GilbertElliott | Markov
    severities: tuple[Severity, ...] = ("typical", "fault")
    hours: float = 1.0
    frames: int = 1_000_000
    wrong_from_lsb: int = 2
    links: Mapping[str, Any] = field(default_factory=dict)
    receivers: int = 1
    source: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        check_range("seed", self.seed, 0, 2**63 - 1, base="d")
        check_number("confidence", self.confidence, 0.5, 0.999999)
        check_number("hours", self.hours, 0, 10_000, unit="h", open_low=True)
        check_range("frames", self.frames, 1, 10**12, base="d")
        check_range("wrong_from_lsb", self.wrong_from_lsb, 1, 1023, base="d")
        check_range("receivers", self.receivers, 1, MOST_RECEIVERS, base="d")
        for name, link in self.links.items():
            if name not in OTHER_LINKS or not isinstance(link, OTHER_LINKS[name]):
                raise BadArgument(f"links.{name}: expected one of {', '.join(OTHER_LINKS)}, each with its own record")
        if not self.severities or len(set(self.severities)) != len(self.severities):
            raise BadArgument("severities: expected a list without repeats, at least one")
        if self.by_recording:
            self._check_recording()
        longest_s = self.sender.most_bits / self.link.bit_rate
        if self.signal.every_s <= longest_s:
            raise BadArgument(
                f"signal.every_s={self.signal.every_s:g}: a frame of up to {self.sender.most_bits} bits takes "
                f"{longest_s:.2g} s at {self.link.bit_rate:g} bit/s; must be more"
            )
        if not self.slots:
            raise BadArgument(
                f"signal.every_s={self.signal.every_s:g}: the recording holds no whole slot; must be at most half as "
                "long as it, or say disturbance.repeat_s"
            )

    def _check_recording(self) -> None:
        cause = self.disturbance
        assert isinstance(cause, RecordedWaveform)
        if cause.lasts_s * self.link.bit_rate < 2:
            raise BadArgument(
                f"disturbance.file={cause.file!r}: lasts {cause.lasts_s:.3g} s; expected at least two bits of "
                f"{1 / self.link.bit_rate:.3g} s"
            )

    @property
    def networks(self) -> tuple[str, ...]:
        """The links' networks, the first link's first."""
        return (self.sender.network, *self.links)

    @property
    def by_engine(self) -> bool:
        """Whether the disturbance is an engine, which also reaches the analog line."""
        return isinstance(self.disturbance, Ignition)

    @property
    def by_time(self) -> bool:
        """Whether the disturbance runs in volts and seconds, and not by frames."""
        return isinstance(self.disturbance, Ignition | PulseTrain | RecordedWaveform)

    @property
    def by_recording(self) -> bool:
        """Whether the disturbance is a recorded waveform."""
        return isinstance(self.disturbance, RecordedWaveform)

    @property
    def plays_once(self) -> bool:
        """Whether a recording is played once, so that its length decides how many frames are sent."""
        return isinstance(self.disturbance, RecordedWaveform) and self.disturbance.repeat_s is None

    @property
    def slots(self) -> range:
        """The slots of a run by time: those of ``hours``, or those that lie wholly inside a recording played once."""
        every_s = self.signal.every_s
        if isinstance(self.disturbance, RecordedWaveform) and self.disturbance.repeat_s is None:
            wave = self.disturbance.waveform
            return range(math.ceil(wave.start_s / every_s - 1e-9), math.floor(wave.stop_s / every_s + 1e-9))
        return range(max(1, round(self.hours * 3600 / every_s)))


CHANNELS: dict[str, type] = {
    "ignition": Ignition, **FEW_STATES, "pulse-train": PulseTrain, "waveform": RecordedWaveform
}  # fmt: skip

SWEEPER = """\
# The built-in scenario. Invented demonstration data: no vehicle was measured.
title = "Street sweeper with a biogas engine: pressure at the brush head"
note = "invented demonstration data"
seed = 1
hours = 1.0
severities = ["typical", "fault"]    # an ordinary harness, and a cracked ignition lead beside it
receivers = 3                        # on each bus; each has its own balance and delay

[disturbance]
kind = "ignition"
speed_rpm = 2950
cylinders = 4
strokes = 4
leads = "long"

[signal]
name = "brush-head pressure"
unit = "bar"
low = 0.0
high = 160.0
centre = 90.0
swing = 40.0
swing_s = 23.0
every_s = 0.010

[sender]
network = "can"
identifier = 0x1A4
payload_bytes = 8

[link]
bit_rate = 500_000

[links.can-fd]
[links.lin]
[links.flexray]
[links.ethernet]
[links.sent]

[analog]
"""


def load_scenario(path: str | None) -> Scenario:
    """Return the scenario in the file, or the built-in one.

    Raises:
        BadInput: no such file, a directory, not text, not TOML, or a key or value out of place; the message names
            file, key and expected form.
    """
    if path is None:
        return scenario_from_text(SWEEPER, file="built-in scenario")
    text = read_text(path, what="a scenario file in TOML")
    return scenario_from_text(text, file=path)


def scenario_from_text(text: str, *, file: str) -> Scenario:
    """Return the scenario that ``text`` describes.

    Raises:
        BadInput: see ``load_scenario``.
    """
    if not text.strip():
        raise BadInput(f"{file}: empty; expected a scenario in TOML, at least title, [signal], [sender], [disturbance]")
    table = parse_toml(text, file=file)
    own = ["title", "note", "seed", "confidence", "severities", "hours", "frames", "wrong_from_lsb", "receivers"]
    parts = {"signal": Signal, "sender": Sender, "link": CanLink, "analog": AnalogLine}
    expect_keys(table, [*own, *parts, "links", "disturbance"], file=file, key="")
    disturbance = _disturbance(table, file)
    refuse_idle_keys(table, disturbance, file)
    built: dict[str, Any] = {}
    for name, record in parts.items():
        built[name] = build(record, table.get(name, {}), file=file, key=name)
    built["disturbance"] = disturbance
    built["links"] = _links(table, file)
    scenario = build(
        Scenario,
        table,
        file=file,
        key="",
        given={**built, "source": table},
        skip=frozenset([*parts, "links", "disturbance"]),
    )
    _check_slots(scenario, file)
    return scenario


def _check_slots(scenario: Scenario, file: str) -> None:
    """Raise where a frame of another link does not fit into its slot: here, where the file's name is known."""
    if not scenario.links:
        return
    from framesim.coverage.lines import lines_of  # these two stand on this module
    from framesim.coverage.traffic import Traffic

    try:
        lines_of(scenario, Traffic(scenario))
    except BadArgument as refusal:
        raise BadInput(f"{file}: {refusal}") from None


def _links(table: Mapping[str, Any], file: str) -> dict[str, Any]:
    """Return the links beside the first, in the order of the file."""
    given = expect_type(table.get("links", {}), dict, file=file, key="links")
    expect_keys(given, list(OTHER_LINKS), file=file, key="links")
    return {name: build(OTHER_LINKS[name], part, file=file, key=f"links.{name}") for name, part in given.items()}


def _disturbance(table: Mapping[str, Any], file: str) -> Any:
    if "disturbance" not in table:
        raise BadInput(f"{file}: disturbance: missing; expected a table with kind = one of {', '.join(CHANNELS)}")
    part = expect_type(table["disturbance"], dict, file=file, key="disturbance")
    if part.get("kind") == "ignition" and "severity" in part:
        raise BadInput(f"{file}: disturbance.severity: unknown key; say severities = [...] at the top level")
    if part.get("kind") == "waveform":
        folder = str(Path(file).parent)
        return build(
            RecordedWaveform, part, file=file, key="disturbance", given={"folder": folder}, skip=frozenset({"kind"})
        )
    if "speed_profile" in part and "speed_rpm" in part:
        raise BadInput(f"{file}: disturbance.speed_rpm: does nothing beside a speed_profile; leave it out")
    return channel_from_table(part, file=file, key="disturbance", kinds=CHANNELS)
