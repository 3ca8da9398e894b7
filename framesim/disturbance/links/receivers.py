"""Several receivers on one bus: each draws its own balance and its own delay, so an error may be local."""

import dataclasses
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

import numpy as np

from framesim.disturbance.rings import Rings
from framesim.disturbance.sparks import TRANSIENTS, SparkEvents
from framesim.disturbance.streams import Purpose, unit_uniforms
from framesim.errors import check_number, check_range

if TYPE_CHECKING:
    from framesim.disturbance.ignition import Ignition

__all__ = ["MOST_RECEIVERS", "check_bus", "check_pair", "on_the_pair", "reach_on_the_pair", "receiver_of"]

MOST_RECEIVERS = 64


class _Pair(Protocol):
    @property
    def conversion_loss_db(self) -> float: ...
    @property
    def bandwidth_hz(self) -> float: ...


class _Bus(_Pair, Protocol):
    @property
    def loss_spread_db(self) -> float: ...
    @property
    def delay_s(self) -> float: ...
    @property
    def delay_spread_s(self) -> float: ...


Link = TypeVar("Link", bound=Any)


def check_pair(link: _Pair) -> None:
    """Raise at a value of the pair that is out of range.

    Raises:
        BadArgument: it is.
    """
    check_number("conversion_loss_db", link.conversion_loss_db, 0, 120, unit="dB")
    check_number("bandwidth_hz", link.bandwidth_hz, 1e4, 1e10, unit="Hz")


def check_bus(link: _Bus) -> None:
    """Raise at a value of the pair or its receivers that is out of range.

    Raises:
        BadArgument: it is.
    """
    check_pair(link)
    check_number("loss_spread_db", link.loss_spread_db, 0, 30, unit="dB")
    check_number("delay_s", link.delay_s, 0, 1e-5, unit="s")
    check_number("delay_spread_s", link.delay_spread_s, 0, 1e-5, unit="s")


def receiver_of(link: Link, number: int, seed: int) -> Link:
    """Return the link as receiver ``number`` has it.

    Receiver 0 is the link as given. Another draws its conversion loss from a normal distribution about the given
    one, cut at 0 and 120 dB, and gets the signal up to ``delay_spread_s`` later.

    Args:
        link: of two wires, with balance and delay.
        number: 0..63.
        seed: the same seed draws the same receivers.
    """
    check_range("number", number, 0, MOST_RECEIVERS - 1, base="d")
    if number == 0:
        return link
    one, two, three, _ = unit_uniforms(seed, Purpose.RECEIVERS, number, 1, 4)[0].tolist()
    normal = float(np.sqrt(-2 * np.log1p(-one)) * np.cos(2 * np.pi * two))
    loss = min(120.0, max(0.0, link.conversion_loss_db + link.loss_spread_db * normal))
    drawn: Link = dataclasses.replace(link, conversion_loss_db=loss, delay_s=link.delay_s + link.delay_spread_s * three)
    return drawn


def on_the_pair(events: SparkEvents, link: _Pair, delay_s: float = 0.0) -> Rings:
    """Return the rings at a receiver: turned into a difference voltage, low-passed, in the time of its sent levels.

    The interference reaches all of the harness at once, the sent signal comes ``delay_s`` late: so, counted by the
    signal, the interference is early by as much.
    """
    fast = events.only(*TRANSIENTS)
    return Rings.through(
        start_s=fast.time_s - delay_s,
        volts=fast.coupled_volts * 10 ** (-link.conversion_loss_db / 20),
        hz=fast.ring_hz,
        decay_s=fast.decay_s,
        phase_rad=fast.phase_rad,
        bandwidth_hz=link.bandwidth_hz,
    )


def reach_on_the_pair(link: _Pair, ignition: "Ignition") -> float:
    """Return how long before a bit a transient may start and still matter: thirty times the slowest decay."""
    return 30 * max(ignition.value("ring_decay_s"), 1 / (2 * np.pi * link.bandwidth_hz))
