"""Codecs that each make one classic mistake: small changes of framesim's own declarations, never of its engine."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import framesim as fs
from framesim.codes import crc, even_parity, lin_parity, stuff_count_sequence
from framesim.codes.register import serial_register
from framesim.linecoding.stuffing import DynamicStuffing
from framesim.networks import can, can_fd, network
from framesim.networks.encoder import encode_with
from framesim.networks.flexray import format as flexray
from framesim.networks.layout import Condition
from framesim.networks.network import Network
from framesim.wire import parse_bits
from framesim.words import Check

__all__ = ["WRONG", "WrongCodec", "decoder_of", "encoder_of"]


@dataclass(frozen=True, kw_only=True)
class WrongCodec:
    """One mistake, and words that the report of it must hold."""

    mistake: str
    network: str
    decode: Callable[[str], Any] | None = None
    encode: Callable[[Any], Any] | None = None
    told: str


def decoder_of(found: Network) -> Callable[[str], Any]:
    return lambda bits: fs.receive(parse_bits(bits), found)


def encoder_of(found: Network) -> Callable[[Any], Any]:
    return lambda frame: encode_with(found, frame)


def rows(found: Network, change) -> Network:
    return replace(found, layout=replace(found.layout, fields=tuple(change(row) for row in found.layout.fields)))


def row(found: Network, name: str, **changes: Any) -> Network:
    return rows(found, lambda each: replace(each, **changes) if each.name == name else each)


def guarded(found: Network, name: str, expected) -> Network:
    """Return the network with another computation in the guard of one field."""
    guard = next(each.guard for each in found.layout.fields if each.name == name)
    return row(found, name, guard=replace(guard, expected=expected))


def unstuffed_end(found: Network) -> Network:
    forgetful = DynamicStuffing(run=5, at_end=False)
    return rows(found, lambda each: replace(each, coding=forgetful) if each.coding is can.STUFFED else each)


def strict_last_bit() -> Network:
    strict = row(can.CAN, "last EOF bit", check=Check.FORM)
    return replace(strict, layout=replace(strict.layout, accept_after=None))


def ruleless(found: Network) -> Network:
    """Return the network without its last rule."""
    return replace(found, layout=replace(found.layout, rules=found.layout.rules[:-1]))


def short_payload(bits: str) -> Any:
    """Refuse length codes above 8."""
    got = fs.receive(parse_bits(bits), "can")
    return None if got.accepted and got.frame.dlc > 8 else got


def remote_with_payload(frame: fs.CanFrame) -> str:
    if not frame.remote or not frame.dlc:
        return fs.encode(frame).bits.to01()
    data = fs.CanFrame(
        identifier=frame.identifier, payload=bytes(min(frame.dlc, 8)), extended=frame.extended, dlc=frame.dlc
    )
    layout = rows(can.CAN, lambda each: replace(each, source=lambda _: 1) if "RTR" in each.name else each)
    filled = Condition("with data", lambda values: values["DLC"] > 0)
    layout = row(layout, "data", width=lambda values: 8 * min(values["DLC"], 8), when=filled)
    return encode_with(row(layout, "IDE", source=lambda frame: int(frame.extended)), data).bits.to01()


def crc_over_wire(view) -> int:
    return crc("CRC-15/CAN").of(view.coded(*can.GUARDED))


def preset_ones(view) -> int:
    return serial_register(view.bits(*can.GUARDED), 15, 0x4599, 0x7FFF)


def binary_count(view) -> int:
    count = view.inserted(*can_fd.HEAD) % 8
    return count << 1 | even_parity([count >> place & 1 for place in range(3)])


def odd_count_parity(view) -> int:
    return int(stuff_count_sequence(view.inserted(*can_fd.HEAD)).to01(), 2) ^ 1


def fd_crc_preset_zero(view) -> int:
    bits = view.coded(*can_fd.HEAD) + view.bits("stuff count")
    return serial_register(bits, 17, 0x1685B, 0)


def swapped_parity(view) -> int:
    p0, p1 = lin_parity(view.values["identifier"])
    return p1 | p0 << 1


def inverted_parity(view) -> int:
    p0, p1 = lin_parity(view.values["identifier"])
    return (p0 | p1 << 1) ^ 3


def sum_without_carry(view) -> int:
    return sum(view.values["data"]) & 0xFF ^ 0xFF


def header_crc_preset_zero(view) -> int:
    return serial_register(view.bits(*flexray.HEADER_GUARDED), 11, 0x385, 0)


def sent_without_last_zero(view) -> int:
    from framesim.codes import sent_crc

    return sent_crc(view.values["data"], legacy=True)


def lin_without_carry(bits: str) -> Any:
    """Take classic frames whose plain sum is right, and no others."""
    got = fs.receive(parse_bits(bits), guarded(network("lin"), "checksum", sum_without_carry))
    return got


CAN, CAN_FD, LIN, SENT = can.CAN, can_fd.CAN_FD, network("lin"), network("sent")

WRONG = (
    WrongCodec(mistake="no stuffing after the CRC, receiving", network="can", decode=decoder_of(unstuffed_end(CAN)),
               told="an inserted bit after the last bit of CRC"),
    WrongCodec(mistake="no stuffing after the CRC, sending", network="can", encode=encoder_of(unstuffed_end(CAN)),
               told="leaves out the inserted bit after the last bit of CRC"),
    WrongCodec(mistake="CRC over stuff bits", network="can", decode=decoder_of(guarded(CAN, "CRC", crc_over_wire)),
               told="saying crc"),
    WrongCodec(mistake="CRC register preset to ones", network="can",
               encode=encoder_of(guarded(CAN, "CRC", preset_ones)), told="in CRC"),
    WrongCodec(mistake="length codes 9 to 15 refused", network="can", decode=short_payload,
               told="where dlc is 9 or more"),
    WrongCodec(mistake="remote frames with payload", network="can", encode=remote_with_payload,
               told="where remote is set and dlc is not 0"),
    WrongCodec(mistake="last EOF bit checked", network="can", decode=decoder_of(strict_last_bit()),
               told="last EOF bit as an error, where a receiver takes either level"),
    WrongCodec(mistake="acknowledge slot checked", network="can",
               decode=decoder_of(row(CAN, "ACK slot", check=Check.FORM)),
               told="ACK slot as an error, where a receiver takes either level"),
    WrongCodec(mistake="payload bits in reverse order", network="can",
               decode=decoder_of(row(CAN, "data", lsb_first=True)), told="reads payload wrong"),
    WrongCodec(mistake="CRC never looked at", network="can",
               decode=decoder_of(row(CAN, "CRC", guard=None, level=0)), told="takes a frame that crc must refuse"),
    WrongCodec(mistake="stuff count in binary, not Gray code", network="can-fd",
               encode=encoder_of(guarded(CAN_FD, "stuff count", binary_count)), told="in stuff count"),
    WrongCodec(mistake="stuff count's parity inverted", network="can-fd",
               decode=decoder_of(guarded(CAN_FD, "stuff count", odd_count_parity)), told="stuff_count"),
    WrongCodec(mistake="FD CRC register preset to zeros", network="can-fd",
               decode=decoder_of(guarded(CAN_FD, "CRC-17", fd_crc_preset_zero)), told="saying crc"),
    WrongCodec(mistake="parity bits swapped", network="lin",
               encode=encoder_of(guarded(LIN, "parity", swapped_parity)), told="in parity"),
    WrongCodec(mistake="parity inverted", network="lin",
               decode=decoder_of(guarded(LIN, "parity", inverted_parity)), told="saying parity"),
    WrongCodec(mistake="checksum without carry", network="lin", decode=lin_without_carry, told="checksum"),
    WrongCodec(mistake="channel B's CRC with channel A's preset", network="flexray-b",
               decode=decoder_of(guarded(network("flexray-b"), "frame CRC", flexray.frame_crc("CRC-24/FLEXRAY-A"))),
               told="saying crc"),
    WrongCodec(mistake="header CRC preset to zeros", network="flexray",
               encode=encoder_of(guarded(network("flexray"), "header CRC", header_crc_preset_zero)),
               told="in header CRC"),
    WrongCodec(mistake="address bits most significant first", network="ethernet",
               decode=decoder_of(row(network("ethernet"), "source address", lsb_first=False)),
               told="reads source wrong"),
    WrongCodec(mistake="length/type not held against the length", network="ethernet",
               decode=decoder_of(ruleless(network("ethernet"))),
               told="takes a frame that length must refuse"),
    WrongCodec(mistake="CRC without the closing zero nibble", network="sent",
               decode=decoder_of(guarded(SENT, "CRC", sent_without_last_zero)), told="saying crc"),
    WrongCodec(mistake="status nibble's bits in reverse order", network="sent",
               decode=decoder_of(row(SENT, "status", lsb_first=True)), told="reads status wrong"),
)  # fmt: skip
