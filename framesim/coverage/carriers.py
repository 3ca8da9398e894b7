"""How each network would carry one value: the frame, the usual bit rate, the wires, and what a repeat costs.

Bit rates and wire counts are common practice, no source. One entry a network; a network without one is not compared.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import framesim as fs
from framesim.errors import BadArgument
from framesim.wire import WireFrame

__all__ = ["CARRIERS", "Carrier"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Carrier:
    """One network's way of carrying a value.

    Attributes:
        network: as in ``framesim.networks()``.
        title: short, for a table.
        frame: builds the frame from the value's bytes, most significant first.
        bit_rate: wire bits per second; of SENT, ticks per second.
        fast_rate: wire bits per second in the fast phase, if there is one.
        fast: names of the first and the last span of the fast phase.
        after: names of spans that stand behind the frame's own end; they count as gap, or belong to the next frame.
        gap_bits: wire bits that must pass between two frames.
        wires: signal wires, ground and supply not counted.
        unit_bytes: payload lengths come in steps of so many bytes.
        most_bytes: longest payload.
        repeat_bits: wire bits between a frame that a check stopped and its repeat; None: nobody repeats it, the next
            value of the cycle has to do.
        mends: who or what makes good a frame that a check stopped.
        pulse_ticks: shortest and longest pulse of a nibble, where nibbles are pulses.
        about: what a reader of the table should know.
    """

    network: str
    title: str
    frame: Callable[[bytes], Any]
    bit_rate: float
    fast_rate: float | None = None
    fast: tuple[str, str] | None = None
    after: frozenset[str] = frozenset()
    gap_bits: int = 0
    wires: int
    unit_bytes: int = 1
    most_bytes: int = 8
    repeat_bits: int | None = None
    mends: str = "next value"
    pulse_ticks: tuple[int, int] | None = None
    about: str = ""

    def payload(self, value: int, value_bits: int) -> bytes:
        """Return the value's bytes, padded in front to a length that the network can send.

        Raises:
            BadArgument: the value needs more bytes than a frame of this network holds.
        """
        n_bytes = -(-max(1, -(-value_bits // 8)) // self.unit_bytes) * self.unit_bytes
        if n_bytes > self.most_bytes:
            raise BadArgument(f"value_bits={value_bits}: {self.network} carries at most {8 * self.most_bytes} bits")
        return value.to_bytes(n_bytes, "big")

    def frame_bits(self, sent: WireFrame) -> int:
        """Return the wire bits of the frame itself, without what stands behind its end."""
        return sum(span.stop - span.start for span in sent.spans if span.name not in self.after)

    def time_s(self, sent: WireFrame) -> float:
        """Return how long the frame itself takes."""
        bits, fast_bits = self.frame_bits(sent), 0
        if self.fast is not None and self.fast_rate is not None:
            names = [span.name for span in sent.spans]
            first, last = sent.spans[names.index(self.fast[0])], sent.spans[names.index(self.fast[1])]
            fast_bits = last.stop - first.start
        return (bits - fast_bits) / self.bit_rate + fast_bits / (self.fast_rate or self.bit_rate)


# After a detected error on CAN: error flag 6 to 12 bits, delimiter 8, intermission 3 (CAN 2.0, from memory); the
# superposed flags of all nodes take 12 at most.
CAN_REPEAT = 12 + 8 + 3
INTERMISSION = 3
# Interpacket gap of 96 bits: IEEE 802.3, from memory.
INTERPACKET_GAP = 96


def _nibbles(payload: bytes) -> tuple[int, ...]:
    return tuple(nibble for byte in payload for nibble in (byte >> 4, byte & 0xF))


# Every rate and wire count below: common practice, no source.
CARRIERS: dict[str, Carrier] = {
    carrier.network: carrier
    for carrier in (
        Carrier(
            network="lin",
            title="LIN",
            frame=lambda payload: fs.LinFrame(identifier=0x21, payload=payload),
            bit_rate=19_200,
            wires=1,
            about="one commander asks, by a schedule; guarded by a carry-around sum, not by a CRC",
        ),
        Carrier(
            network="can",
            title="classic CAN",
            frame=lambda payload: fs.CanFrame(identifier=0x1A4, payload=payload),
            bit_rate=500_000,
            gap_bits=INTERMISSION,
            wires=2,
            repeat_bits=CAN_REPEAT,
            mends="the sender",
            about="any node may send, the lower identifier wins; an error is flagged by all and repeated at once",
        ),
        Carrier(
            network="can-fd",
            title="CAN FD",
            frame=lambda payload: fs.CanFdFrame(identifier=0x1A4, payload=payload, bit_rate_switch=True),
            bit_rate=500_000,
            fast_rate=2_000_000,
            fast=("ESI", "CRC"),
            gap_bits=INTERMISSION,
            wires=2,
            repeat_bits=CAN_REPEAT,
            mends="the sender",
            about="as CAN, with up to 64 bytes; the data phase, from ESI through the CRC, at 2 Mbit/s",
        ),
        Carrier(
            network="can-xl",
            title="CAN XL",
            frame=lambda payload: fs.CanXlFrame(identifier=0x1A4, payload=payload),
            bit_rate=500_000,
            fast_rate=8_000_000,
            fast=("SDT", "FCRC"),
            gap_bits=INTERMISSION,
            wires=2,
            repeat_bits=CAN_REPEAT,
            mends="the sender",
            about="as CAN, with up to 2048 bytes; the data phase, from SDT through the FCRC, at 8 Mbit/s; repeats only "
            "where error signalling is switched on",
        ),
        Carrier(
            network="flexray",
            title="FlexRay",
            frame=lambda payload: fs.FlexRayFrame(frame_id=21, payload=payload),
            bit_rate=10_000_000,
            after=frozenset({"channel idle delimiter"}),
            gap_bits=11,
            wires=2,
            unit_bytes=2,
            about="fixed slots, in which the frame is sent once; both channels take four wires: compared, they give "
            "redundancy; carrying different data they give 20 Mbit/s, without redundancy",
        ),
        Carrier(
            network="ethernet",
            title="Ethernet",
            frame=lambda payload: fs.EthernetFrame(
                destination=bytes.fromhex("020000000002"),
                source=bytes.fromhex("020000000001"),
                ethertype=0x88B5,
                payload=payload,
            ),
            bit_rate=100_000_000,
            gap_bits=INTERPACKET_GAP,
            wires=2,
            about="point to point through switches; a short payload is padded to 46 bytes; the flips here hit bits "
            "behind the line code, though on a 100BASE-T1 wire a disturbance hits ternary symbols",
        ),
        Carrier(
            network="sent",
            title="SENT",
            frame=lambda payload: fs.SentFrame(status=0, nibbles=_nibbles(payload)),
            bit_rate=1 / 3e-6,
            after=frozenset({"next sync"}),
            wires=1,
            most_bytes=3,
            repeat_bits=0,
            mends="next message",
            pulse_ticks=(12, 27),
            about="one sensor to one unit, message after message; wire bits are ticks of 3 µs; a flip of one tick "
            "changes a pulse; the receiver here has no sync pulse before to compare with, and so takes a sync one tick "
            "off",
        ),
    )
}
