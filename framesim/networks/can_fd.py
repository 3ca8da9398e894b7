"""CAN FD: base and extended identifiers, up to 64 bytes; and what its receivers make of classic frames.

Sources: ISO 11898-1:2015 (FD base and extended frame formats), from memory unless said otherwise, so fields
are named by their place and not by clause numbers. CAN in Automation, CANdictionary (2016): a wrong stuff count
counts as a CRC error and is flagged after the acknowledge field; either level of RRS is taken (read). Mutter
and Hartwich, iCC 2015: dynamic stuff bits and their number enter the CRC (read). The original format: CAN
with Flexible Data-Rate, Specification 1.0 (2012): no stuff count, register preset 0.

An FD node reads classic frames too, so one flipped FDF bit turns an FD frame into a classic one. The classic
branch of the layout is made of the rows of ``framesim.networks.can``.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from framesim.codes import crc, stuff_count_sequence
from framesim.errors import BadArgument, check_range
from framesim.linecoding.stuffing import DynamicStuffing, FixedStuffing
from framesim.networks import can
from framesim.networks.layout import Condition, Field, Guard, Layout
from framesim.networks.network import Network
from framesim.networks.view import View
from framesim.words import Check

__all__ = ["CAN_FD", "CAN_FD_ORIGINAL", "LENGTHS", "CanFdFrame"]

LENGTHS = (*range(9), 12, 16, 20, 24, 32, 48, 64)  #: payload bytes by data length code


@dataclass(frozen=True, slots=True, kw_only=True)
class CanFdFrame:
    """A CAN FD frame as fields.

    Attributes:
        identifier: 0..0x7FF, or 0..0x1FFF_FFFF when ``extended``.
        payload: 0..8, 12, 16, 20, 24, 32, 48 or 64 bytes, first byte sent first.
        extended: 29-bit identifier.
        bit_rate_switch: the bits from here to the CRC delimiter are sent at the data bit rate.
        error_state: the sender is error passive.
        iso: the format of ISO 11898-1:2015; if not, the original format of 2012, without stuff count.

    Raises:
        BadArgument: a value out of range, or a payload of a length that no data length code stands for.
    """

    identifier: int
    payload: bytes = b""
    extended: bool = False
    bit_rate_switch: bool = False
    error_state: bool = False
    iso: bool = True

    def __post_init__(self) -> None:
        for flag in ("extended", "bit_rate_switch", "error_state", "iso"):
            if type(getattr(self, flag)) is not bool:
                raise BadArgument(f"{flag}={getattr(self, flag)!r}: expected bool")
        top = 0x1FFF_FFFF if self.extended else 0x7FF
        check_range("identifier", self.identifier, 0, top, clause="ISO 11898-1, identifier")
        if not isinstance(self.payload, bytes):
            raise BadArgument(f"payload={self.payload!r}: expected bytes")
        size = len(self.payload)
        if size not in LENGTHS:
            near = [max(legal for legal in LENGTHS if legal < size)]
            near += [legal for legal in LENGTHS if legal > size][:1]
            raise BadArgument(
                f"len(payload)={size}: must be 0..8, 12, 16, 20, 24, 32, 48 or 64; nearest: "
                f"{' or '.join(map(str, near))} (ISO 11898-1, data length code)"
            )

    @property
    def dlc(self) -> int:
        """The data length code, 0..15."""
        return LENGTHS.index(len(self.payload))


def data_bits(values: Mapping[str, Any]) -> int:
    """Return the width of the data field in the format that FDF announces."""
    return 8 * LENGTHS[values["DLC"]] if values["FDF"] else can.data_bits(values)


def is_fd(values: Mapping[str, Any]) -> bool:
    """Tell from the bits read whether the frame is an FD frame; XLF is there where a CAN XL receiver reads."""
    return bool(values["FDF"]) and not values.get("XLF")


def is_long(values: Mapping[str, Any]) -> bool:
    """Tell from the bits read whether the longer CRC guards an FD frame."""
    return bool(values["DLC"] > LENGTHS.index(16))


CLASSIC = Condition("classic", lambda values: not values["FDF"])
CLASSIC_EXTENDED = Condition("classic extended", lambda values: not values["FDF"] and bool(values["IDE"]))
FD = Condition("FD", is_fd)
FD_SHORT = Condition("FD to 16 bytes", lambda values: is_fd(values) and not is_long(values))
FD_LONG = Condition("FD over 16 bytes", lambda values: is_fd(values) and is_long(values))
LATE = Condition("two-bit slot", lambda values: values.get("ACK delimiter") == 0)
HAS_DATA = Condition("with data", lambda values: data_bits(values) > 0)

# In FD frames no dynamic stuff bit is due after the last data bit: a fixed one stands there anyway.
STUFFED = DynamicStuffing(run=5, at_end=False)
FIXED = FixedStuffing(every=4)

#: everything that is dynamically stuffed and enters the CRC, whatever the format
HEAD = (
    "SOF", "identifier", "RTR", "IDE", "identifier extension", "extended RTR", "FDF", "r0", "res", "BRS",
    "ESI", "DLC", "data",
)  # fmt: skip


def classic_crc(view: View) -> int:
    """Return the classic CRC: over the bits without stuff bits."""
    return crc("CRC-15/CAN").of(view.bits(*HEAD))


def stuff_count_guard(head: tuple[str, ...]) -> Guard:
    """Return the guard of the field that says how many dynamic stuff bits there are."""
    return Guard(
        check=Check.STUFF_COUNT,
        expected=lambda view: int(stuff_count_sequence(view.inserted(*head)).to01(), 2),
        covers=head,
        spoken_after="ACK delimiter",
    )


def fd_guard(code: str, covers: tuple[str, ...]) -> Guard:
    """Return the guard of an FD CRC field: dynamic stuff bits and stuff count enter, fixed stuff bits do not."""
    *head, count = covers if covers[-1] == "stuff count" else (*covers, "")
    return Guard(
        check=Check.CRC,
        expected=lambda view: crc(code).of(view.coded(*head) + view.bits(count)),
        covers=covers,
        code=code,
        spoken_after="ACK delimiter",
    )


CLASSIC_ROWS = {field.name: field for field in can.LAYOUT.fields}


def classic_row(like: str, **changes: Any) -> Field:
    """Return a row of the classic layout with changes; a stuffed one joins this layout's stuffed region."""
    row = CLASSIC_ROWS[like]
    if row.coding is can.STUFFED:
        changes.setdefault("coding", STUFFED)
    return replace(row, **changes)


def rtr_name(values: Mapping[str, Any]) -> str:
    """Return what the bit after the eleven identifier bits is called in this frame."""
    if values["IDE"]:
        return "SRR"
    return "RRS" if values["FDF"] else "RTR"


def rows(*, iso: bool, head: tuple[str, ...] = HEAD) -> tuple[Field, ...]:
    """Return the rows of the ISO format, or of the original one; ``head`` names all that is dynamically stuffed."""
    code, covers = ("ISO-CAN-FD", (*head, "stuff count")) if iso else ("CAN-FD", head)
    stuff_count_row = Field(
        name="stuff count", width=4, coding=FIXED, clause="CRC field", when=FD, guard=stuff_count_guard(head),
        about="number of dynamic stuff bits modulo 8, Gray coded, and even parity; flagged like a CRC error",
    )  # fmt: skip
    return (
        classic_row("SOF", clause="start of frame"),
        classic_row("identifier", clause="arbitration field", carries="identifier"),
        classic_row("RTR", clause="arbitration field, RRS and SRR", shown=rtr_name,
                    source=lambda frame: int(frame.extended),
                    about="RRS, dominant, in the place of RTR; in an extended frame SRR, recessive; "
                          "taken either way, but it enters the CRC"),
        classic_row("IDE", clause="arbitration field, control field", carries="extended"),
        classic_row("identifier extension", clause="arbitration field", carries="identifier"),
        classic_row("extended RTR", clause="arbitration field, RRS", source=lambda frame: 0,
                    shown=lambda values: "RRS" if values["FDF"] else "RTR",
                    about="RRS, dominant, in the place of RTR; taken either way"),
        Field(name="FDF", width=1, coding=STUFFED, clause="control field", steers=True,
              source=lambda frame: 1,
              about="recessive: an FD frame; dominant: a classic one, where it is called r0 or r1"),
        classic_row("r0", clause="control field, classic extended frame", when=CLASSIC_EXTENDED),
        Field(name="res", width=1, coding=STUFFED, clause="control field, protocol exception", when=FD,
              level=0, abandons=iso,
              about="dominant; recessive announces a format yet unknown: the receiver leaves the frame "
                    "without an error flag" if iso else "dominant, called r0; taken either way"),
        Field(name="BRS", width=1, coding=STUFFED, clause="control field", when=FD,
              source=lambda frame: int(frame.bit_rate_switch), carries="bit_rate_switch",
              about="recessive: the data bit rate begins here"),
        Field(name="ESI", width=1, coding=STUFFED, clause="control field", when=FD,
              source=lambda frame: int(frame.error_state), carries="error_state",
              about="recessive: the sender is error passive"),
        classic_row("DLC", clause="control field",
                    about="how many bytes follow: 0..8; 9..15 mean 12, 16, 20, 24, 32, 48, 64 "
                          "(in a classic frame 8)"),
        classic_row("data", width=data_bits, clause="data field", when=HAS_DATA, carries="payload"),
        *([stuff_count_row] if iso else []),
        Field(name="CRC-17", width=17, coding=FIXED, clause="CRC field", when=FD_SHORT,
              guard=fd_guard(f"CRC-17/{code}", covers), shown=lambda values: "CRC",
              about="remainder over everything before it, without fixed stuff bits"),
        Field(name="CRC-21", width=21, coding=FIXED, clause="CRC field", when=FD_LONG,
              guard=fd_guard(f"CRC-21/{code}", covers), shown=lambda values: "CRC",
              about="the same in frames of more than 16 bytes"),
        Field(name="CRC delimiter", width=1, level=1, check=Check.FORM, clause="CRC field", when=FD,
              about="recessive; a fixed stuff bit is never due before it"),
        classic_row("CRC", name="CRC-15", clause="CRC field, classic frame", when=CLASSIC,
                    shown=lambda values: "CRC",
                    guard=Guard(check=Check.CRC, expected=classic_crc, covers=HEAD, code="CRC-15/CAN",
                                spoken_after="classic ACK delimiter")),
        # Inside the stuffed region, so that a stuff bit due after the CRC is still sent; on the delimiter
        # itself none can fall due.
        classic_row("CRC delimiter", name="classic CRC delimiter", coding=STUFFED, when=CLASSIC,
                    clause="CRC field, classic frame", shown=lambda values: "CRC delimiter"),
        classic_row("ACK slot", clause="ACK field"),
        classic_row("ACK delimiter", name="classic ACK delimiter", clause="ACK field, classic frame",
                    when=CLASSIC, shown=lambda values: "ACK delimiter"),
        Field(name="ACK delimiter", width=1, level=1, clause="ACK field", when=FD, steers=True,
              shown=lambda values: "ACK delimiter" if values["ACK delimiter"] else "ACK slot",
              about="recessive; dominant is the second bit of a slot that receivers fill one after the "
                    "other, and the delimiter follows"),
        Field(name="late ACK delimiter", width=1, level=1, check=Check.FORM, clause="ACK field",
              when=LATE, shown=lambda values: "ACK delimiter",
              about="recessive; there only after a slot of two bits"),
        classic_row("EOF", clause="end of frame"),
        classic_row("last EOF bit", clause="end of frame"),
    )  # fmt: skip


def assembler(*, iso: bool) -> Callable[[Mapping[str, Any]], CanFdFrame | can.CanFrame]:
    """Return the function that turns what was read into a frame, FD or classic."""

    def assemble(values: Mapping[str, Any]) -> CanFdFrame | can.CanFrame:
        if not values["FDF"]:
            return can.assemble(values)
        extended = bool(values["IDE"])
        base = values["identifier"]
        return CanFdFrame(
            identifier=base << 18 | values["identifier extension"] if extended else base,
            payload=values.get("data", b""),
            extended=extended,
            bit_rate_switch=bool(values["BRS"]),
            error_state=bool(values["ESI"]),
            iso=iso,
        )

    return assemble


def configured_for(frame: CanFdFrame) -> Network:
    """Return the variant that ``frame`` belongs to: which one is not on the wire."""
    return CAN_FD if frame.iso else CAN_FD_ORIGINAL


CAN_FD = Network(
    name="can-fd",
    title="CAN FD",
    standard="ISO 11898-1:2015",
    frame_type=CanFdFrame,
    layout=Layout(accept_after="EOF", fields=rows(iso=True)),
    assemble=assembler(iso=True),
    monitors=True,
    unmonitored=frozenset({"ACK delimiter"}),  # the sender takes a slot of two bits
    acknowledged_in=frozenset({"ACK slot"}),
    configured_for=configured_for,
)

CAN_FD_ORIGINAL = replace(
    CAN_FD,
    name="can-fd-original",
    title="CAN FD, original format of 2012",
    standard="CAN with Flexible Data-Rate, Specification 1.0 (2012)",
    layout=Layout(accept_after="EOF", fields=rows(iso=False)),
    assemble=assembler(iso=False),
)
