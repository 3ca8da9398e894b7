"""Classic CAN: base and extended identifiers, data and remote frames.

Sources: ISO 11898-1 (classic frame formats); CAN Specification 2.0 (1991), Part B. Clause numbers are those
of the latter; they, the field order and the widths are from memory, the error rules of 7.1 and 7.2 were read.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, cast

from framesim.codes import crc
from framesim.errors import BadArgument, check_range
from framesim.linecoding.stuffing import DynamicStuffing
from framesim.networks.layout import Condition, Field, Guard, Layout
from framesim.networks.network import Network
from framesim.networks.view import View
from framesim.words import Check

__all__ = ["CAN", "CanFrame"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CanFrame:
    """A classic CAN frame as fields.

    Attributes:
        identifier: 0..0x7FF, or 0..0x1FFF_FFFF when ``extended``.
        payload: 0..8 bytes, first byte sent first; empty in a remote frame.
        extended: 29-bit identifier.
        remote: a remote frame asks for a frame of this identifier and carries no payload.
        dlc: data length code 0..15; None means the payload's length. 9..15 mean 8 bytes (ISO 11898-1).

    Raises:
        BadArgument: a value out of range, or a length code that contradicts the payload.
    """

    identifier: int
    payload: bytes = b""
    extended: bool = False
    remote: bool = False
    dlc: int | None = None

    def __post_init__(self) -> None:
        for flag in ("extended", "remote"):
            if type(getattr(self, flag)) is not bool:
                raise BadArgument(f"{flag}={getattr(self, flag)!r}: expected bool")
        top = 0x1FFF_FFFF if self.extended else 0x7FF
        check_range("identifier", self.identifier, 0, top, clause="CAN 2.0 B 3.1.1, identifier")
        if not isinstance(self.payload, bytes):
            raise BadArgument(f"payload={self.payload!r}: expected bytes")
        check_range("len(payload)", len(self.payload), 0, 8, base="d", clause="CAN 2.0 B 3.1.1, data field")
        if self.dlc is None:
            object.__setattr__(self, "dlc", len(self.payload))
        check_range("dlc", self.dlc, 0, 15, base="d", clause="CAN 2.0 B 3.1.1, data length code")
        if self.remote and self.payload:
            raise BadArgument("payload: must be empty in a remote frame (CAN 2.0 B 3.1.2)")
        if not self.remote and min(cast(int, self.dlc), 8) != len(self.payload):
            raise BadArgument(
                f"dlc={self.dlc}: stands for {min(cast(int, self.dlc), 8)} bytes, payload has {len(self.payload)}"
            )


BASE = Condition("base", lambda values: values["IDE"] == 0)
EXTENDED = Condition("extended", lambda values: values["IDE"] == 1)


def is_remote(values: Mapping[str, Any]) -> bool:
    """Tell from the bits read whether the frame is a remote frame."""
    return bool(values["extended RTR"] if values["IDE"] else values["RTR"])


def data_bits(values: Mapping[str, Any]) -> int:
    """Return the width of the data field: eight bits a byte, 9..15 counting as 8, none in a remote frame."""
    return 0 if is_remote(values) else 8 * min(values["DLC"], 8)


HAS_DATA = Condition("with data", lambda values: data_bits(values) > 0)

GUARDED = (
    "SOF", "identifier", "RTR", "IDE", "identifier extension", "extended RTR", "r1", "r0", "DLC", "data",
)  # fmt: skip


def crc_sequence(view: View) -> int:
    """Return the CRC over the destuffed bits from SOF to the end of the data field."""
    return crc("CRC-15/CAN").of(view.bits(*GUARDED))


STUFFED = DynamicStuffing(run=5, at_end=True)

LAYOUT = Layout(
    accept_after="EOF",
    fields=(
        Field(name="SOF", width=1, level=0, coding=STUFFED, clause="3.1.1 start of frame",
              about="tells every node that a frame begins"),
        Field(name="identifier", width=11, coding=STUFFED, clause="3.1.1 arbitration field",
              source=lambda frame: frame.identifier >> 18 if frame.extended else frame.identifier,
              about="names the message and decides who may send; its eleven high bits in an extended frame"),
        Field(name="RTR", width=1, coding=STUFFED, clause="3.1.1 RTR bit, SRR bit", steers=True,
              source=lambda frame: 1 if frame.extended else int(frame.remote),
              shown=lambda values: "SRR" if values["IDE"] else "RTR",
              about="recessive in a remote frame; in an extended frame the recessive stand-in SRR, taken "
                    "either way"),
        Field(name="IDE", width=1, coding=STUFFED, clause="3.1.1 IDE bit", steers=True,
              source=lambda frame: int(frame.extended),
              about="recessive: the identifier goes on"),
        Field(name="identifier extension", width=18, coding=STUFFED, clause="3.1.1 arbitration field",
              when=EXTENDED, source=lambda frame: frame.identifier & 0x3FFFF,
              about="the eighteen low bits of an extended identifier"),
        Field(name="extended RTR", width=1, coding=STUFFED, clause="3.1.1 RTR bit", steers=True,
              when=EXTENDED, source=lambda frame: int(frame.remote), shown=lambda values: "RTR",
              about="recessive in a remote frame"),
        Field(name="r1", width=1, coding=STUFFED, clause="3.1.1 control field", when=EXTENDED, level=0,
              about="reserved: sent dominant, taken either way"),
        Field(name="r0", width=1, coding=STUFFED, clause="3.1.1 control field", level=0,
              about="reserved: sent dominant, taken either way"),
        Field(name="DLC", width=4, coding=STUFFED, clause="3.1.1 control field", steers=True,
              source=lambda frame: frame.dlc,
              about="how many bytes follow; 9..15 mean 8"),
        Field(name="data", width=data_bits, coding=STUFFED, clause="3.1.1 data field", when=HAS_DATA,
              octets=True, source=lambda frame: frame.payload,
              about="the payload, most significant bit of each byte first"),
        Field(name="CRC", width=15, coding=STUFFED, clause="3.1.1 CRC field",
              guard=Guard(check=Check.CRC, expected=crc_sequence, covers=GUARDED, code="CRC-15/CAN",
                          spoken_after="ACK delimiter"),
              about="remainder over everything before it; an error is spoken after the ACK delimiter (7.2)"),
        Field(name="CRC delimiter", width=1, level=1, check=Check.FORM, clause="3.1.1 CRC field",
              about="recessive"),
        Field(name="ACK slot", width=1, level=0, clause="3.1.1 ACK field",
              about="the sender leaves it recessive, a node that agrees makes it dominant: so stands the "
                    "wire; a receiver takes either level"),
        Field(name="ACK delimiter", width=1, level=1, check=Check.FORM, clause="3.1.1 ACK field",
              about="recessive"),
        Field(name="EOF", width=6, level=0x3F, check=Check.FORM,
              clause="3.1.1 end of frame; 5 message validation",
              about="recessive; a receiver takes the frame as valid at its end"),
        Field(name="last EOF bit", width=1, level=1, clause="3.1.1 end of frame; 7.1",
              about="sent recessive; dominant here is no form error for a receiver"),
    ),
)  # fmt: skip


def assemble(values: Mapping[str, Any]) -> CanFrame:
    """Return the frame that was read."""
    extended = bool(values["IDE"])
    base = values["identifier"]
    return CanFrame(
        identifier=base << 18 | values["identifier extension"] if extended else base,
        payload=values.get("data", b""),
        extended=extended,
        remote=is_remote(values),
        dlc=values["DLC"],
    )


CAN = Network(
    name="can",
    title="classic CAN",
    standard="ISO 11898-1",
    frame_type=CanFrame,
    layout=LAYOUT,
    assemble=assemble,
    monitors=True,
    acknowledged_in=frozenset({"ACK slot"}),
)
