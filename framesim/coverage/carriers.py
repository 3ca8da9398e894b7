"""How each network would carry one value: the frame, the usual bit rate, the wires, and what a repeat costs.

Bit rates and wire counts are common practice, no source. One entry a network; a network without one is not compared.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import framesim as fs
from framesim.errors import BadArgument

__all__ = ["CARRIERS", "Carrier"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Carrier:
    """One network's way of carrying a value.

    Attributes:
        network: as in ``framesim.networks()``.
        title: short, for a table.
        frame: builds the frame from the value's bytes, most significant first.
        bit_rate: wire bits per second; of SENT, ticks per second.
        wires: signal wires, ground and supply not counted.
        unit_bytes: payload lengths come in steps of so many bytes.
        most_bytes: longest payload.
        repeat_bits: wire bits between a frame that a check stopped and its repeat; None: nobody repeats it, the next
            value of the cycle has to do.
        about: what a reader of the table should know.
    """

    network: str
    title: str
    frame: Callable[[bytes], Any]
    bit_rate: float
    wires: int
    unit_bytes: int = 1
    most_bytes: int = 8
    repeat_bits: int | None = None
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


# After a detected error on CAN: error flag 6 to 12 bits, delimiter 8, intermission 3 (CAN 2.0, from memory); the
# superposed flags of all nodes take 12 at most.
CAN_REPEAT = 12 + 8 + 3


def _nibbles(payload: bytes) -> tuple[int, ...]:
    return tuple(nibble for byte in payload for nibble in (byte >> 4, byte & 0xF))


CARRIERS: dict[str, Carrier] = {
    carrier.network: carrier
    for carrier in (
        Carrier(
            network="lin",
            title="LIN",
            frame=lambda payload: fs.LinFrame(identifier=0x21, payload=payload),
            bit_rate=19_200,
            wires=1,
            about="one commander asks, in a schedule; slow, cheap, one wire",
        ),
        Carrier(
            network="can",
            title="classic CAN",
            frame=lambda payload: fs.CanFrame(identifier=0x1A4, payload=payload),
            bit_rate=500_000,
            wires=2,
            repeat_bits=CAN_REPEAT,
            about="any node may send, the lower identifier wins; errors are flagged and repeated at once",
        ),
        Carrier(
            network="can-fd",
            title="CAN FD",
            frame=lambda payload: fs.CanFdFrame(identifier=0x1A4, payload=payload),
            bit_rate=500_000,
            wires=2,
            most_bytes=8,
            repeat_bits=CAN_REPEAT,
            about="as CAN, longer frames; a faster data phase would shorten the time further",
        ),
        Carrier(
            network="can-xl",
            title="CAN XL",
            frame=lambda payload: fs.CanXlFrame(identifier=0x1A4, payload=payload),
            bit_rate=500_000,
            wires=2,
            repeat_bits=CAN_REPEAT,
            about="as CAN, up to 2048 bytes; a faster data phase would shorten the time further",
        ),
        Carrier(
            network="flexray",
            title="FlexRay",
            frame=lambda payload: fs.FlexRayFrame(frame_id=21, payload=payload),
            bit_rate=10_000_000,
            wires=2,
            unit_bytes=2,
            about="fixed time slots; both channels (four wires) for redundancy, or for twice the rate without it",
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
            wires=2,
            about="point to point through switches; short payloads are padded to 46 bytes",
        ),
        Carrier(
            network="sent",
            title="SENT",
            frame=lambda payload: fs.SentFrame(status=0, nibbles=_nibbles(payload)),
            bit_rate=1 / 3e-6,
            wires=1,
            most_bytes=3,
            about="one sensor to one unit, never the other way; wire bits are ticks of 3 µs",
        ),
    )
}
