"""FlexRay's frame format on the wire, for both channels and both segments of the cycle.

Source: FlexRay Communications System Protocol Specification 3.0.1 (ISO 17458-2): chapter 3 coding and
decoding, chapter 4 frame format, chapter 6 frame and symbol processing. CRC parameters and what they cover
were read or computed; clause numbers, the order of the header's bits and the decoding rules are from memory.
"""

from collections.abc import Callable, Mapping
from typing import Any

from framesim.codes import crc
from framesim.errors import BadArgument, check_range
from framesim.linecoding.byte_start import BYTE_START, LowRun
from framesim.networks.flexray.frame import CHANNELS, FlexRayFrame
from framesim.networks.layout import Condition, Field, Guard, Layout, Rule
from framesim.networks.network import Network
from framesim.networks.view import View
from framesim.words import Check

__all__ = ["FLEXRAY", "FLEXRAY_B", "FLEXRAY_B_DYNAMIC", "FLEXRAY_DYNAMIC", "cluster", "layout"]

TSS_BITS = 9  # within 3..15; our choice, as long as a path with one active star may need
DTS_BITS = 6  # a sender stretches it to the next minislot's action point; our choice

HEADER_GUARDED = ("sync frame indicator", "startup frame indicator", "frame ID", "payload length")
HEADER = (
    "reserved bit", "payload preamble indicator", "null frame indicator", *HEADER_GUARDED, "header CRC",
    "cycle count",
)  # fmt: skip
FRAME_GUARDED = (*HEADER, "payload")

HAS_PAYLOAD = Condition("with payload", lambda values: values["payload length"] > 0)


def header_crc(view: View) -> int:
    """Return the CRC over the twenty header bits that it guards; the same on both channels."""
    return crc("CRC-11/FLEXRAY").of(view.bits(*HEADER_GUARDED))


def frame_crc(code: str) -> Callable[[View], int]:
    """Return the function that computes the CRC over header and payload with the preset of one channel."""
    return lambda view: crc(code).of(view.bits(*FRAME_GUARDED))


STATIC_RULES = (
    Rule(check=Check.FORM, at_end_of="FES", clause="4.2.1.6 frame ID; 6 frame and symbol processing",
         holds=lambda view: view.values["frame ID"] != 0),
    Rule(check=Check.FORM, at_end_of="FES", clause="4.2.1.5 startup frame indicator; 6",
         holds=lambda view: view.values["sync frame indicator"] >= view.values["startup frame indicator"]),
)  # fmt: skip

DYNAMIC_RULES = (
    STATIC_RULES[0],
    Rule(check=Check.FORM, at_end_of="FES", clause="4.2.1.4, 4.2.1.5 sync and startup frames are static; 6",
         holds=lambda view: not view.values["sync frame indicator"] + view.values["startup frame indicator"]),
    Rule(check=Check.FORM, at_end_of="FES", clause="4.2.1.3 null frames are static; 6",
         holds=lambda view: view.values["null frame indicator"] == 1),
)  # fmt: skip

HEADER_AND_PAYLOAD = (
    Field(name="reserved bit", width=1, level=0, coding=BYTE_START, clause="4.2.1.1 reserved bit",
          about="sent 0, taken either way"),
    Field(name="payload preamble indicator", width=1, coding=BYTE_START, carries="preamble_indicator",
          clause="4.2.1.2 payload preamble indicator", source=lambda frame: int(frame.preamble_indicator),
          about="1: the payload opens with a vector or an identifier for the controller"),
    Field(name="null frame indicator", width=1, coding=BYTE_START, carries="null",
          clause="4.2.1.3 null frame indicator", source=lambda frame: int(not frame.null),
          about="0: no usable data in this frame"),
    Field(name="sync frame indicator", width=1, coding=BYTE_START, carries="sync",
          clause="4.2.1.4 sync frame indicator", source=lambda frame: int(frame.sync),
          about="1: receivers correct their clocks by this frame"),
    Field(name="startup frame indicator", width=1, coding=BYTE_START, carries="startup",
          clause="4.2.1.5 startup frame indicator", source=lambda frame: int(frame.startup),
          about="1: nodes may join the cycle by this frame"),
    Field(name="frame ID", width=11, coding=BYTE_START, carries="frame_id", clause="4.2.1.6 frame ID",
          source=lambda frame: frame.frame_id,
          about="the slot; 0 is invalid"),
    Field(name="payload length", width=7, coding=BYTE_START, steers=True, clause="4.2.1.7 payload length",
          source=lambda frame: len(frame.payload) // 2,
          about="in words of two bytes"),
    Field(name="header CRC", width=11, coding=BYTE_START, clause="4.2.1.8 header CRC; 4.5.2",
          guard=Guard(check=Check.HEADER_CRC, expected=header_crc, covers=HEADER_GUARDED,
                      code="CRC-11/FLEXRAY", spoken_after="cycle count"),
          about="guards slot, length, sync and startup; examined when the header is in"),
    Field(name="cycle count", width=6, coding=BYTE_START, carries="cycle", clause="4.2.1.9 cycle count",
          source=lambda frame: frame.cycle,
          about="the sender's cycle counter"),
    Field(name="payload", width=lambda values: 16 * values["payload length"], coding=BYTE_START, octets=True,
          when=HAS_PAYLOAD, carries="payload", clause="4.2.2 payload segment",
          source=lambda frame: frame.payload,
          about="most significant bit of each byte first"),
)  # fmt: skip


def layout(*, channel: str, dynamic: bool, tss_bits: int = TSS_BITS, dts_bits: int = DTS_BITS) -> Layout:
    """Return the format of frames on ``channel`` in one segment of the cycle.

    Args:
        channel: ``"A"`` or ``"B"``.
        dynamic: of the dynamic segment, whose frames end in a trailing sequence.
        tss_bits: length of the transmission start sequence, a constant of the cluster. A receiver takes 1 up
            to one bit more than this: active stars eat lows from its front, and sampling may add one.
        dts_bits: lows of the dynamic trailing sequence.

    Raises:
        BadArgument: no such channel, or a length out of range.
    """
    if channel not in CHANNELS:
        raise BadArgument(f"channel={channel!r}: must be 'A' or 'B'")
    check_range("tss_bits", tss_bits, 3, 15, base="d", clause="gdTSSTransmitter")
    check_range("dts_bits", dts_bits, 1, 1024, base="d", clause="FlexRay PS 3.2.1.1.5")
    code = f"CRC-24/FLEXRAY-{channel}"
    start = (
        Field(name="TSS", width=tss_bits, level=0, elastic=True, coding=LowRun(longest=tss_bits + 1),
              clause="3.2.1.1.1 transmission start sequence",
              about="opens the path through active stars, which may shorten it"),
        Field(name="FSS", width=1, level=1, check=Check.LINE_CODE, clause="3.2.1.1.2 frame start sequence",
              about="one high bit"),
    )  # fmt: skip
    trailer = (
        Field(name="frame CRC", width=24, coding=BYTE_START, clause="4.2.3 trailer segment; 4.5.3",
              guard=Guard(check=Check.CRC, expected=frame_crc(code), covers=FRAME_GUARDED, code=code),
              about="over header and payload; its preset differs between the channels"),
        Field(name="FES", width=2, level=0b01, check=Check.LINE_CODE, clause="3.2.1.1.4 frame end sequence",
              about="low where a byte start would be high; the frame is valid at its end"),
    )  # fmt: skip
    trailing = (
        Field(name="DTS low", width=dts_bits, level=0, clause="3.2.1.1.5 dynamic trailing sequence",
              about="holds the channel until the minislot's action point; the frame is already valid"),
        Field(name="DTS high", width=1, level=1, clause="3.2.1.1.5 dynamic trailing sequence",
              about="ends the trailing sequence"),
    )  # fmt: skip
    rest = (
        Field(name="channel idle delimiter", width=11, level=0x7FF, clause="3.2.4 channel idle detection",
              about="the channel counts as idle after eleven highs; nothing of the frame depends on it"),
    )  # fmt: skip
    return Layout(
        accept_after="FES",
        rules=DYNAMIC_RULES if dynamic else STATIC_RULES,
        fields=(*start, *HEADER_AND_PAYLOAD, *trailer, *(trailing if dynamic else ()), *rest),
    )


def assemble_for(channel: str, dynamic: bool) -> Callable[[Mapping[str, Any]], FlexRayFrame]:
    """Return what turns values read on ``channel``, in one segment, into a frame."""

    def assemble(values: Mapping[str, Any]) -> FlexRayFrame:
        null = not values["null frame indicator"]
        payload = values.get("payload", b"")
        return FlexRayFrame(
            frame_id=values["frame ID"],
            payload=bytes(len(payload)) if null else payload,  # what stands in a null frame is not looked at
            cycle=values["cycle count"],
            channel=channel,
            sync=bool(values["sync frame indicator"]),
            startup=bool(values["startup frame indicator"]),
            preamble_indicator=bool(values["payload preamble indicator"]),
            null=null,
            dynamic=dynamic,
        )

    return assemble


def cluster(name: str, *, tss_bits: int = TSS_BITS, dts_bits: int = DTS_BITS) -> tuple[Network, ...]:
    """Return the four receivers of a cluster: channel A and B in the static, then in the dynamic segment.

    They are called ``name``, ``name-b``, ``name-dynamic`` and ``name-b-dynamic``. Hand them to ``encode_with``,
    ``receive`` and ``judge``; by name only those of the cluster called ``flexray`` are known.

    Raises:
        BadArgument: a length out of range.
    """
    found: dict[tuple[str, bool], Network] = {}

    def configured_for(frame: FlexRayFrame) -> Network:
        return found[frame.channel, frame.dynamic]

    for dynamic in (False, True):
        for channel in CHANNELS:
            found[channel, dynamic] = Network(
                name=f"{name}{'-b' if channel == 'B' else ''}{'-dynamic' if dynamic else ''}",
                title=f"FlexRay, channel {channel}, {'dynamic' if dynamic else 'static'} segment",
                standard="ISO 17458-2, FlexRay Protocol Specification 3.0.1",
                frame_type=FlexRayFrame,
                layout=layout(channel=channel, dynamic=dynamic, tss_bits=tss_bits, dts_bits=dts_bits),
                assemble=assemble_for(channel, dynamic),
                configured_for=configured_for,
            )
    return tuple(found.values())


FLEXRAY, FLEXRAY_B, FLEXRAY_DYNAMIC, FLEXRAY_B_DYNAMIC = cluster("flexray")
