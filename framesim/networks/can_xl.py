"""CAN XL, provisionally: 11-bit priority identifiers, 1 to 2048 bytes; and what its receivers make of older frames.

**Provisional.** The standard (ISO 11898-1:2024, CiA 610-1) was not at hand. Read in public texts of CAN in
Automation: payload sizes, the 11-bit priority and 32-bit acceptance fields, that all three protocol generations are
supported ("CAN XL", can-cia.org); that a CRC of its own guards the header and another one the frame (Mutter, CAN
Newsletter 2/2020), with Hamming distance 6 at all lengths (Senger, same issue). Everything else is from memory; where
memory failed there is an assumption, and ``docs/networks/can-xl.md`` lists them all. Computed: no more than three
dynamic stuff bits can occur before the data phase, so that the two bits of the stuff count suffice.

An XL node reads FD and classic frames too. Those branches of the layout are the rows of ``framesim.networks.can_fd``.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from framesim.codes import crc, stuff_count_sequence
from framesim.errors import BadArgument, check_range
from framesim.linecoding.stuffing import FixedStuffing
from framesim.networks import can_fd
from framesim.networks.can import CanFrame
from framesim.networks.can_fd import CAN_FD, STUFFED, CanFdFrame
from framesim.networks.layout import Condition, Field, Guard, Layout
from framesim.networks.network import Network
from framesim.networks.view import View
from framesim.words import Check

__all__ = ["CAN_XL", "CanXlFrame"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CanXlFrame:
    """A CAN XL frame as fields.

    Attributes:
        identifier: priority identifier 0..0x7FF; it decides who may send, and nothing else.
        payload: 1..2048 bytes, first byte sent first.
        sdu_type: SDT 0..0xFF, what kind of service data unit the payload is.
        simple_extended_content: SEC, a bit for functions of higher layers.
        virtual_network: VCID 0..0xFF, the virtual network that the frame belongs to.
        acceptance: acceptance field 0..0xFFFF_FFFF, by which receivers choose frames.
        remote_request_substitution: RRS, recessive.

    Raises:
        BadArgument: a value out of range.
    """

    identifier: int
    payload: bytes
    sdu_type: int = 0
    simple_extended_content: bool = False
    virtual_network: int = 0
    acceptance: int = 0
    remote_request_substitution: bool = False

    def __post_init__(self) -> None:
        for flag in ("simple_extended_content", "remote_request_substitution"):
            if type(getattr(self, flag)) is not bool:
                raise BadArgument(f"{flag}={getattr(self, flag)!r}: expected bool")
        check_range("identifier", self.identifier, 0, 0x7FF, clause="CiA 610-1, priority identifier")
        if not isinstance(self.payload, bytes):
            raise BadArgument(f"payload={self.payload!r}: expected bytes")
        check_range("len(payload)", len(self.payload), 1, 2048, base="d", clause="CiA 610-1, data field")
        check_range("sdu_type", self.sdu_type, 0, 0xFF, clause="CiA 610-1, SDT")
        check_range("virtual_network", self.virtual_network, 0, 0xFF, clause="CiA 610-1, VCID")
        check_range("acceptance", self.acceptance, 0, 0xFFFF_FFFF, clause="CiA 610-1, acceptance field")


def is_xl(values: Mapping[str, Any]) -> bool:
    """Tell from the bits read whether the frame is an XL frame."""
    return bool(values.get("XLF"))


XL = Condition("XL", is_xl)
OLDER = Condition("FD or classic", lambda values: not is_xl(values))
OLDER_WITH_DATA = Condition("with data", lambda values: not is_xl(values) and can_fd.data_bits(values) > 0)
FDF_BASE = Condition("FDF, base", lambda values: bool(values["FDF"]) and not values["IDE"])
FDF_EXTENDED = Condition("FDF, extended", lambda values: bool(values["FDF"]) and bool(values["IDE"]))
FDF = Condition("FD or XL", lambda values: bool(values["FDF"]))

FIXED = FixedStuffing(every=10, leading=False)

#: what is dynamically stuffed; its stuff bits are counted and enter both CRCs
HEAD = ("SOF", "identifier", "RTR", "IDE", "FDF", "XLF", "resXL")
PREFACE = ("SDT", "SEC", "XL DLC", "SBC")
REST = ("PCRC", "VCID", "AF", "XL data")


def stuff_bit_count(view: View) -> int:
    """Return SBC: the number of dynamic stuff bits, which is at most 3, as two Gray-coded bits and even parity."""
    return int(stuff_count_sequence(view.inserted(*HEAD)).to01(), 2)


def preface_crc(view: View) -> int:
    """Return the CRC of the preface: the wire to resXL, and the control field so far without fixed stuff bits."""
    return crc("PCRC-13/CAN-XL").of(view.coded(*HEAD) + view.bits(*PREFACE))


def frame_crc(view: View) -> int:
    """Return the CRC of the frame: what the preface CRC covers, that CRC itself, and the rest to the last byte."""
    return crc("FCRC-32/CAN-XL").of(view.coded(*HEAD) + view.bits(*PREFACE, *REST))


XL_ROWS = (
    Field(name="resXL", width=1, coding=STUFFED, clause="arbitration field, protocol exception", when=XL, level=0,
          abandons=True,
          about="dominant; recessive announces a format yet unknown: the receiver leaves the frame without a word"),
    Field(name="ADS", width=4, level=0b1110, check=Check.FORM, clause="arbitration to data sequence", when=XL,
          about="ADH, DH1, DH2, DL1: bit rate and transceiver mode change here; the edge in it synchronises"),
    Field(name="SDT", width=8, coding=FIXED, clause="control field, SDU type", when=XL, carries="sdu_type",
          source=lambda frame: frame.sdu_type,
          about="what kind of service data unit follows"),
    Field(name="SEC", width=1, coding=FIXED, clause="control field, simple extended content", when=XL,
          carries="simple_extended_content", source=lambda frame: int(frame.simple_extended_content),
          about="recessive: higher layers have added something of their own"),
    Field(name="XL DLC", width=11, coding=FIXED, clause="control field, data length code", when=XL, steers=True,
          source=lambda frame: len(frame.payload) - 1, shown=lambda values: "DLC",
          about="number of bytes less one"),
    Field(name="SBC", width=3, coding=FIXED, clause="control field, stuff bit count", when=XL,
          guard=Guard(check=Check.STUFF_COUNT, expected=stuff_bit_count, covers=HEAD, spoken_after="PCRC"),
          about="number of dynamic stuff bits, two Gray-coded bits and even parity"),
    Field(name="PCRC", width=13, coding=FIXED, clause="control field, preface CRC", when=XL,
          guard=Guard(check=Check.HEADER_CRC, expected=preface_crc, covers=(*HEAD, *PREFACE),
                      code="PCRC-13/CAN-XL"),
          about="guards everything before it, the length above all"),
    Field(name="VCID", width=8, coding=FIXED, clause="control field, virtual CAN network identifier", when=XL,
          carries="virtual_network", source=lambda frame: frame.virtual_network,
          about="which virtual network the frame belongs to"),
    Field(name="AF", width=32, coding=FIXED, clause="control field, acceptance field", when=XL,
          carries="acceptance", source=lambda frame: frame.acceptance,
          about="an address, or a name of the content: receivers choose by it"),
    Field(name="XL data", width=lambda values: 8 * (values["XL DLC"] + 1), coding=FIXED, clause="data field",
          when=XL, octets=True, carries="payload", source=lambda frame: frame.payload,
          shown=lambda values: "data",
          about="the payload, most significant bit of each byte first"),
    Field(name="FCRC", width=32, coding=FIXED, clause="CRC field, frame CRC", when=XL,
          guard=Guard(check=Check.CRC, expected=frame_crc, covers=(*HEAD, *PREFACE, *REST),
                      code="FCRC-32/CAN-XL", spoken_after="ACK delimiter"),
          about="remainder over everything before it, without ADS and fixed stuff bits"),
    Field(name="FCP", width=4, level=0b1100, check=Check.FORM, clause="CRC field, format check pattern", when=XL,
          about="shows that the receiver has lost or gained no bit"),
    Field(name="DAS", width=4, level=0b1101, check=Check.FORM, clause="data to arbitration sequence", when=XL,
          about="DAH, AH1, AL1, AH2: back to the first bit rate and transceiver mode"),
)  # fmt: skip

# In an FD frame, what follows FDF in a base frame is read as XLF here and covered under that name.
OLDER_ROWS = can_fd.rows(iso=True, head=(*can_fd.HEAD[:8], "XLF", *can_fd.HEAD[8:]))
OLDER_PLACE = {field.name: field for field in OLDER_ROWS}

# How rows of older frames differ where XL frames are read as well.
CHANGED = {
    "identifier": replace(OLDER_PLACE["identifier"], source=lambda frame: frame.identifier),
    "RTR": replace(
        OLDER_PLACE["RTR"],
        source=lambda frame: int(frame.remote_request_substitution),
        carries="remote_request_substitution",
    ),
    "IDE": replace(OLDER_PLACE["IDE"], source=lambda frame: 0),
    "res": replace(OLDER_PLACE["res"], when=FDF_EXTENDED),
    "DLC": replace(OLDER_PLACE["DLC"], when=OLDER),
    "data": replace(OLDER_PLACE["data"], when=OLDER_WITH_DATA),
    "ACK delimiter": replace(OLDER_PLACE["ACK delimiter"], when=FDF),
}

XLF = Field(
    name="XLF", width=1, coding=STUFFED, clause="arbitration field, XL format indicator", when=FDF_BASE, steers=True,
    source=lambda frame: 1,
    about="recessive: an XL frame; dominant: an FD frame, where it is called res",
)  # fmt: skip


def layout() -> Layout:
    """Return the layout: the rows of older frames, and those of XL frames in their place."""
    fields: list[Field] = []
    for row in OLDER_ROWS:
        if row.name == "BRS":
            fields += [XLF, *XL_ROWS]
        fields.append(CHANGED.get(row.name, row))
    return Layout(accept_after="EOF", fields=tuple(fields))


def assemble(values: Mapping[str, Any]) -> CanXlFrame | CanFdFrame | CanFrame:
    """Return the frame that was read, XL or older."""
    if not is_xl(values):
        older: CanFdFrame | CanFrame = CAN_FD.assemble(values)
        return older
    return CanXlFrame(
        identifier=values["identifier"],
        payload=values["XL data"],
        sdu_type=values["SDT"],
        simple_extended_content=bool(values["SEC"]),
        virtual_network=values["VCID"],
        acceptance=values["AF"],
        remote_request_substitution=bool(values["RTR"]),
    )


CAN_XL = Network(
    name="can-xl",
    title="CAN XL",
    standard="ISO 11898-1:2024, CiA 610-1",
    frame_type=CanXlFrame,
    layout=layout(),
    assemble=assemble,
    monitors=True,
    unmonitored=frozenset({"ACK delimiter"}),
    acknowledged_in=frozenset({"ACK slot"}),
    provisional=(
        "the standard was not at hand: fields are from memory; CRC presets, what the CRCs cover, the places of fixed "
        "stuff bits and the patterns ADS, FCP and DAS are assumptions"
    ),
)
