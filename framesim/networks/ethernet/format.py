"""Ethernet's MAC frame as a stream of bits, from the preamble to the frame check sequence.

Source: IEEE 802.3 clause 3 (frame), clause 4 (receiving) and IEEE 802.1Q (tag); from memory, except the CRC, which
is computed and agrees with zlib. A frame ends when the carrier does.
"""

from collections.abc import Mapping
from typing import Any

from framesim.codes import crc
from framesim.linecoding.start_delimiter import StartDelimiter
from framesim.networks.ethernet.frame import (
    FIRST_TYPE,
    MOST_DATA,
    TAG_TYPE,
    EthernetFrame,
    is_length,
    least_data,
)
from framesim.networks.layout import OPEN, Condition, Field, Guard, Layout, Rule
from framesim.networks.network import Network
from framesim.networks.view import View
from framesim.words import Check

__all__ = ["ETHERNET"]

PREAMBLE = 0x55_5555_5555_5555  # least significant bit first: 1010...
SFD = 0xD5  # least significant bit first: 10101011
TAG = TAG_TYPE.to_bytes(2)


def tagged(values: Mapping[str, Any]) -> bool:
    """Tell whether the field after the addresses announces a tag."""
    return bool(values["first type"] == TAG)


TAGGED = Condition("tagged", tagged)
COVERED = ("destination address", "source address", "first type", "tag control", "second type", "data and pad")


def frame_check(view: View) -> int:
    """Return the CRC over addresses, tag, length/type, data and pad; its complement is what is sent."""
    return crc("CRC-32/ETHERNET").of(view.bits(*COVERED))


def length_or_type(values: Mapping[str, Any]) -> int:
    """Return the length/type field, which a tag puts off."""
    return int.from_bytes(values["second type" if tagged(values) else "first type"])


def size_is_allowed(view: View) -> bool:
    """Tell whether the frame has 64 to 1518 bytes, 1522 with a tag."""
    return least_data(tagged(view.values)) <= len(view.values["data and pad"]) <= MOST_DATA


def length_agrees(view: View) -> bool:
    """Tell whether a length, if there is one, says how long the data is, or how long before it was filled up."""
    stated = length_or_type(view.values)
    if is_length(stated):
        return len(view.values["data and pad"]) == max(stated, least_data(tagged(view.values)))
    return stated >= FIRST_TYPE


def type_bytes(frame: EthernetFrame) -> bytes:
    """Return the length/type field, high byte first."""
    return frame.ethertype.to_bytes(2)


def tag_control(frame: EthernetFrame) -> bytes:
    """Return priority, drop eligibility and VLAN identifier of a tagged frame, high byte first."""
    return (frame.priority << 13 | frame.drop_eligible << 12 | (frame.vlan or 0)).to_bytes(2)


START = StartDelimiter(pattern=0b10101011)

LAYOUT = Layout(
    idle=0,
    rules=(
        Rule(check=Check.LENGTH, at_end_of="data and pad", holds=size_is_allowed,
             clause="3.2.7, 3.2.8, 4.2.4.2 minimum and maximum frame size"),
        Rule(check=Check.LENGTH, at_end_of="FCS", holds=length_agrees,
             clause="3.2.6, 4.2.4.2 length/type agrees with the data"),
    ),
    fields=(
        Field(name="preamble", width=56, level=PREAMBLE, lsb_first=True, elastic=True, coding=START,
              clause="3.2.1 preamble",
              about="seven bytes of 0x55; a receiver discards what comes before the delimiter"),
        Field(name="SFD", width=8, level=SFD, lsb_first=True, elastic=True, coding=START,
              clause="3.2.2 start frame delimiter",
              about="0xD5; where it stands the frame begins"),
        Field(name="destination address", width=48, octets=True, lsb_first=True, carries="destination",
              clause="3.2.4 destination address", source=lambda frame: frame.destination,
              about="the first bit tells a group from a single station"),
        Field(name="source address", width=48, octets=True, lsb_first=True, carries="source",
              clause="3.2.5 source address", source=lambda frame: frame.source,
              about="who sent it"),
        Field(name="first type", width=16, octets=True, lsb_first=True, steers=True, carries="ethertype",
              clause="3.2.6 length/type; 802.1Q tag protocol identifier",
              source=lambda frame: type_bytes(frame) if frame.vlan is None else TAG,
              shown=lambda values: "tag protocol identifier" if tagged(values) else "length/type",
              about="0x8100 announces a tag; else as the length/type field, high byte first"),
        Field(name="tag control", width=16, octets=True, lsb_first=True, when=TAGGED, carries="vlan",
              clause="802.1Q tag control information", source=tag_control,
              about="priority 3 bits, drop eligible 1, VLAN identifier 12; high byte first"),
        Field(name="second type", width=16, octets=True, lsb_first=True, steers=True, when=TAGGED,
              carries="ethertype", clause="3.2.6 length/type", source=type_bytes,
              shown=lambda values: "length/type",
              about="up to 1500 the data's length, from 0x600 a type"),
        Field(name="data and pad", width=OPEN, octets=True, lsb_first=True, carries="payload",
              clause="3.2.7 data, 3.2.8 pad",
              source=lambda frame: frame.payload.ljust(least_data(frame.vlan is not None), b"\0"),
              about="filled up so that the frame has 64 bytes"),
        Field(name="FCS", width=32, lsb_first=True, clause="3.2.9 frame check sequence",
              guard=Guard(check=Check.CRC, expected=frame_check, covers=COVERED, code="CRC-32/ETHERNET"),
              about="the CRC's complement; the highest power is sent first"),
    ),
)  # fmt: skip


def assemble(values: Mapping[str, Any]) -> EthernetFrame:
    """Return the frame that was read, its pad taken off where a length says how much of it is payload."""
    stated, data = length_or_type(values), values["data and pad"]
    control = int.from_bytes(values["tag control"]) if tagged(values) else 0
    return EthernetFrame(
        destination=values["destination address"],
        source=values["source address"],
        ethertype=stated,
        payload=data[:stated] if is_length(stated) else data,
        vlan=control & 0xFFF if tagged(values) else None,
        priority=control >> 13,
        drop_eligible=bool(control >> 12 & 1),
    )


ETHERNET = Network(
    name="ethernet",
    title="automotive Ethernet",
    standard="IEEE 802.3 clause 3, with IEEE 802.1Q tags",
    frame_type=EthernetFrame,
    layout=LAYOUT,
    assemble=assemble,
    ends_with_wire=True,
)
