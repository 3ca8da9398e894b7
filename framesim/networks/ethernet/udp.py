"""UDP over IPv4 in an Ethernet payload, so that the checks of three layers can be compared on one frame.

Sources: RFC 791 (IPv4 header), RFC 768 (UDP), RFC 1071 (their one's-complement checksum). Options are skipped over;
fragments are refused.
"""

from dataclasses import dataclass
from ipaddress import AddressValueError, IPv4Address
from typing import NamedTuple

from framesim.codes import internet_checksum
from framesim.errors import BadArgument, check_range
from framesim.words import Check

__all__ = ["IPV4_TYPE", "DatagramReading", "UdpDatagram", "read_datagram"]

IPV4_TYPE = 0x0800
PROTOCOL = 17
MOST_DATA = 1500 - 20 - 8


@dataclass(frozen=True, slots=True, kw_only=True)
class UdpDatagram:
    """A UDP datagram and as much of its IPv4 header as matters here.

    Attributes:
        source_address: dotted, as in ``192.0.2.1``.
        destination_address: the same.
        source_port: 0..65535.
        destination_port: 0..65535.
        data: 0..1472 bytes.
        checksum: send UDP's checksum; without it the field is 0 and receivers check nothing (RFC 768).
        time_to_live: 0..255.
        identification: 0..65535.

    Raises:
        BadArgument: a value out of range, or an address that is none.
    """

    source_address: str
    destination_address: str
    source_port: int
    destination_port: int
    data: bytes = b""
    checksum: bool = True
    time_to_live: int = 64
    identification: int = 0

    def __post_init__(self) -> None:
        for name in ("source_address", "destination_address"):
            address = getattr(self, name)
            try:
                IPv4Address(address if isinstance(address, str) else "")
            except AddressValueError as fault:
                raise BadArgument(f"{name}={address!r}: expected an IPv4 address, as 192.0.2.1") from fault
        for name in ("source_port", "destination_port", "identification"):
            check_range(name, getattr(self, name), 0, 0xFFFF, base="d")
        check_range("time_to_live", self.time_to_live, 0, 255, base="d")
        if not isinstance(self.data, bytes):
            raise BadArgument(f"data={self.data!r}: expected bytes")
        check_range("len(data)", len(self.data), 0, MOST_DATA, base="d", clause="one Ethernet frame")
        if type(self.checksum) is not bool:
            raise BadArgument(f"checksum={self.checksum!r}: expected bool")

    def packet(self) -> bytes:
        """Return the IPv4 packet: header, UDP header, data; an Ethernet payload of type 0x0800."""
        addresses = _packed(self.source_address) + _packed(self.destination_address)
        length = 8 + len(self.data)
        ports = self.source_port.to_bytes(2) + self.destination_port.to_bytes(2)
        udp = ports + length.to_bytes(2) + bytes(2) + self.data
        total = internet_checksum(_pseudo_header(addresses, length) + udp)
        # A sum that comes out as 0 is sent as FFFF, because 0 says that there is none (RFC 768).
        udp = udp[:6] + ((total or 0xFFFF) if self.checksum else 0).to_bytes(2) + self.data
        head = b"\x45\0" + (20 + length).to_bytes(2) + self.identification.to_bytes(2)
        head += bytes(2) + bytes([self.time_to_live, PROTOCOL])
        return head + internet_checksum(head + bytes(2) + addresses).to_bytes(2) + addresses + udp


class DatagramReading(NamedTuple):
    """What a receiver makes of an Ethernet payload of type 0x0800.

    Attributes:
        datagram: what is delivered; None if anything speaks.
        faults: every check that speaks, the lower layer's first.
        header_sum: whether the IPv4 header's checksum is right; None if there is too little to tell.
        datagram_sum: the same of UDP's; None also if none was sent.
    """

    datagram: UdpDatagram | None
    faults: tuple[Check, ...]
    header_sum: bool | None
    datagram_sum: bool | None


def read_datagram(payload: bytes) -> DatagramReading:
    """Return what a receiver makes of ``payload``; never raises on any bytes. Pad after the packet is ignored."""
    header = 4 * (payload[0] & 0xF) if payload else 0
    if header < 20 or len(payload) < header:
        return DatagramReading(None, (Check.LENGTH,), None, None)
    faults: list[Check] = []
    header_sum = internet_checksum(payload[:header]) == 0
    whole = int.from_bytes(payload[6:8]) & 0x3FFF == 0
    if payload[0] >> 4 != 4 or payload[9] != PROTOCOL or not whole:
        faults.append(Check.FORM)
    if not header_sum:
        faults.append(Check.CHECKSUM)
    total = int.from_bytes(payload[2:4])
    udp = payload[header:total]
    if not header + 8 <= total <= len(payload) or int.from_bytes(udp[4:6]) != len(udp):
        return DatagramReading(None, (*faults, Check.LENGTH), header_sum, None)
    addresses, stated = payload[12:20], int.from_bytes(udp[6:8])
    datagram_sum = internet_checksum(_pseudo_header(addresses, len(udp)) + udp) == 0 if stated else None
    if datagram_sum is False and Check.CHECKSUM not in faults:
        faults.append(Check.CHECKSUM)
    if faults:
        return DatagramReading(None, tuple(faults), header_sum, datagram_sum)
    datagram = UdpDatagram(
        source_address=str(IPv4Address(addresses[:4])),
        destination_address=str(IPv4Address(addresses[4:])),
        source_port=int.from_bytes(udp[:2]),
        destination_port=int.from_bytes(udp[2:4]),
        data=udp[8:],
        checksum=stated != 0,
        time_to_live=payload[8],
        identification=int.from_bytes(payload[4:6]),
    )
    return DatagramReading(datagram, (), header_sum, datagram_sum)


def _packed(address: str) -> bytes:
    return IPv4Address(address).packed


def _pseudo_header(addresses: bytes, length: int) -> bytes:
    """Return what UDP's checksum covers besides the datagram itself (RFC 768)."""
    return addresses + bytes([0, PROTOCOL]) + length.to_bytes(2)
