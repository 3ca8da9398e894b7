"""SENT's frame format: a sync pulse, a status nibble, data nibbles, a CRC nibble, and what follows them.

How many nibbles there are, which form the CRC has and whether a pause pulse follows is not on the wire: it stands in
the sensor's data sheet. ``network_for`` gives a receiver that knows it; ``SENT`` listens without knowing, takes
nibbles until a pulse is none, and accepts either form of the CRC, which makes it the weaker of the two.

Source: SAE J2716. Widths, the receiver's checks and the CRC were read in stored descriptions or computed; the legacy
form of the CRC, the low time, the pause pulse and the order of fields are from memory.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from framesim.codes import sent_crc
from framesim.errors import BadArgument, check_number, check_range
from framesim.linecoding.pulses import LONG, PAUSE_LEAST, PAUSE_MOST, LongPulse, NibblePulses, PausePulse
from framesim.networks.layout import UNTOLD, Field, Guard, Layout, Rule
from framesim.networks.network import Network
from framesim.networks.view import View
from framesim.words import Check

__all__ = ["CRC_FORMS", "SENT", "SentFrame", "network_for"]

CRC_FORMS = ("recommended", "legacy")
MOST_NIBBLES = 6  # data nibbles of one frame


@dataclass(frozen=True, slots=True, kw_only=True)
class SentFrame:
    """A SENT frame as fields.

    ``pause`` and ``crc_form`` say how a frame is sent, not what it says: they do not count when frames are compared.

    Attributes:
        status: 0..15, the status and communication nibble; the CRC does not cover it.
        nibbles: 1..6 data nibbles of 0..15, first one sent first.
        pause: width of the pause pulse in ticks, 12..768; None: no pause pulse.
        crc_form: ``"recommended"`` or ``"legacy"`` (without the trailing zero nibble).

    Raises:
        BadArgument: a value out of range, or no such form.
    """

    status: int
    nibbles: tuple[int, ...]
    pause: int | None = field(default=None, compare=False)
    crc_form: str = field(default="recommended", compare=False)

    def __post_init__(self) -> None:
        check_range("status", self.status, 0, 15, base="d", clause="SAE J2716, status nibble")
        if not isinstance(self.nibbles, tuple):
            raise BadArgument(f"nibbles={self.nibbles!r}: expected a tuple of int")
        check_range("len(nibbles)", len(self.nibbles), 1, MOST_NIBBLES, base="d", clause="SAE J2716, data nibbles")
        for place, nibble in enumerate(self.nibbles):
            check_range(f"nibbles[{place}]", nibble, 0, 15, base="d", clause="SAE J2716, data nibbles")
        if self.pause is not None:
            check_range("pause", self.pause, PAUSE_LEAST, PAUSE_MOST, base="d", clause="SAE J2716, pause pulse")
        check_form(self.crc_form)


def check_form(value: object) -> None:
    """Raise BadArgument unless ``value`` is one of ``CRC_FORMS``."""
    if value not in CRC_FORMS:
        raise BadArgument(f"crc_form={value!r}: must be 'recommended' or 'legacy' (SAE J2716, CRC)")


def crc_of(view: View, form: str) -> int:
    """Return the CRC of the data nibbles."""
    return sent_crc(view.values["data"], legacy=form == "legacy")


def layout(
    *, width: int, pulses: NibblePulses, pause: bool, crc: Callable[[View], int], rules: tuple[Rule, ...] = ()
) -> Layout:
    """Return the format, given what a receiver knows: the width of the data, the CRC, whether a pause follows."""
    paused = (
        Field(name="pause", width=10, coding=PausePulse(), clause="pause pulse", source=lambda frame: frame.pause,
              carries="pause",
              about="12 to 768 ticks, so that all frames of a sensor can last equally long; nothing guards its width"),
    )  # fmt: skip
    return Layout(
        rules=rules,
        accept_after="next sync" if pulses.counted else "CRC",
        fields=(
            Field(name="sync", width=1, level=1, elastic=True, coding=pulses, clause="calibration pulse",
                  about="56 ticks, by which a receiver measures the sender's tick"),
            Field(name="status", width=4, coding=pulses, carries="status", clause="status and communication nibble",
                  source=lambda frame: frame.status,
                  about="two free bits and a slow message, a bit or two a frame; the CRC does not cover it"),
            Field(name="data", width=width, coding=pulses, nibbles=True, carries="nibbles", clause="data nibbles",
                  source=lambda frame: bytes(frame.nibbles),
                  about="a nibble v is a pulse of 12 + v ticks"),
            Field(name="CRC", width=4, coding=pulses, clause="CRC nibble",
                  guard=Guard(check=Check.CRC, expected=crc, covers=("data",)),
                  about="over the data nibbles; known only at the falling edge that closes its pulse"),
            *(paused if pause else ()),
            Field(name="next sync", width=1, level=1, coding=LongPulse(), clause="calibration pulse",
                  about="the first 28 ticks of the next frame's sync pulse: the pulses before it were all there are"),
        ),
    )  # fmt: skip


def network(found: Layout, form: Callable[[Mapping[str, Any]], str]) -> Network:
    """Return the network of one layout; ``form`` names the CRC's form in an accepted frame."""
    return Network(
        name="sent",
        title="SENT",
        standard="SAE J2716",
        frame_type=SentFrame,
        layout=found,
        assemble=lambda values: SentFrame(
            status=values["status"],
            nibbles=tuple(values["data"]),
            pause=values.get("pause"),
            crc_form=form(values),
        ),
        rest_bits=PAUSE_MOST + LONG,
        configured_for=lambda frame: network_for(
            nibbles=len(frame.nibbles), crc_form=frame.crc_form, pause=frame.pause is not None
        ),
    )


def network_for(
    *, nibbles: int, crc_form: str = "recommended", pause: bool = False, previous_sync: float | None = None
) -> Network:
    """Return SENT with a receiver that knows its sensor's data sheet.

    Args:
        nibbles: how many data nibbles a frame has.
        crc_form: ``"recommended"`` or ``"legacy"``.
        pause: a pause pulse follows the CRC nibble.
        previous_sync: width in ticks of the sync pulse of the frame before, for a receiver in step with its sensor:
            a sync pulse that differs by more than 1/64 speaks as ``timing``, and so does one that never ends. None:
            a first frame; a pulse that is not within a quarter of 56 ticks is no frame at all.

    Raises:
        BadArgument: a number out of range, or no such form.

    >>> from framesim import encode, receive
    >>> sent = encode(SentFrame(status=0, nibbles=(7, 4, 8, 7, 4, 8)))
    >>> receive(sent.bits, network_for(nibbles=6)).accepted
    True
    """
    check_range("nibbles", nibbles, 1, MOST_NIBBLES, base="d", clause="SAE J2716, data nibbles")
    check_form(crc_form)
    if type(pause) is not bool:
        raise BadArgument(f"pause={pause!r}: expected bool")
    if previous_sync is not None:
        check_number("previous_sync", previous_sync, 0, 1e6, unit="ticks", open_low=True)
    return _configured(nibbles, crc_form, pause, previous_sync)


@lru_cache(maxsize=64)
def _configured(nibbles: int, crc_form: str, pause: bool, previous_sync: float | None) -> Network:
    """Return what ``network_for`` does, its arguments checked: to a cache, 1 and True would be the same."""
    return network(
        layout(
            width=4 * nibbles,
            pulses=NibblePulses(counted=True, previous_sync=previous_sync),
            pause=pause,
            crc=lambda view: crc_of(view, crc_form),
        ),
        lambda values: crc_form,
    )


def either_form(view: View) -> int:
    """Return the legacy CRC if that is what was read, else the recommended one."""
    legacy = crc_of(view, "legacy")
    return legacy if view.values.get("CRC") == legacy else crc_of(view, "recommended")


def form_read(values: Mapping[str, Any]) -> str:
    """Return the form of the CRC that was read; two of the sixteen values belong to both and count as recommended."""
    return "recommended" if values["CRC"] == sent_crc(values["data"]) else "legacy"


SENT = network(
    layout(
        width=UNTOLD,
        pulses=NibblePulses(counted=False),
        pause=False,
        crc=either_form,
        rules=(
            Rule(check=Check.LENGTH, at_end_of="CRC", clause="data nibbles",
                 holds=lambda view: 1 <= len(view.values["data"]) <= MOST_NIBBLES),
        ),
    ),
    form_read,
)  # fmt: skip
