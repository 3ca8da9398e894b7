"""What an Ethernet frame says."""

from dataclasses import dataclass

from framesim.errors import BadArgument, check_range

__all__ = ["MOST_DATA", "TAG_TYPE", "EthernetFrame", "is_length", "least_data"]

TAG_TYPE = 0x8100  #: the type that announces a VLAN tag (IEEE 802.1Q)
MOST_DATA = 1500  #: bytes of client data in a basic frame, and the largest value that is a length
FIRST_TYPE = 0x600  #: the smallest value that is a type; those between mean nothing (IEEE 802.3 3.2.6)


def is_length(value: int) -> bool:
    """Tell whether the length/type field holds a length (IEEE 802.3 3.2.6)."""
    return value <= MOST_DATA


def least_data(tagged: bool) -> int:
    """Return the fewest bytes of data and pad: 64 bytes a frame, less addresses, tag, length/type and FCS."""
    return 42 if tagged else 46


@dataclass(frozen=True, slots=True, kw_only=True)
class EthernetFrame:
    """An Ethernet frame as fields.

    A receiver cannot tell pad from payload where the length/type field holds a type, and hands both up. So the
    payload of such a frame is stored as it will be delivered: filled up with zeros to 46 bytes, 42 in a tagged frame.
    Where the field holds a length, the receiver takes the pad off, and the payload stays as it is given.

    Attributes:
        destination: 6 bytes.
        source: 6 bytes.
        ethertype: the length/type field: 0x600 and above a type, up to 1500 the payload's length.
        payload: 0..1500 bytes; where ethertype is a type, filled up with zeros to 46, or 42 with a VLAN tag.
        vlan: the VLAN identifier 0..0xFFF; a frame without one has no VLAN tag.
        priority: 0..7, in the VLAN tag.
        drop_eligible: may be dropped first where a link is crowded; a bit in the VLAN tag.

    Raises:
        BadArgument: a value out of range, a length that is not the payload's, or tag values without a tag.
    """

    destination: bytes
    source: bytes
    ethertype: int
    payload: bytes = b""
    vlan: int | None = None
    priority: int = 0
    drop_eligible: bool = False

    def __post_init__(self) -> None:
        for name in ("destination", "source"):
            address = getattr(self, name)
            if not isinstance(address, bytes) or len(address) != 6:
                raise BadArgument(f"{name}={address!r}: expected 6 bytes (IEEE 802.3 3.2.3)")
        check_range("ethertype", self.ethertype, 0, 0xFFFF, clause="IEEE 802.3 3.2.6")
        if not isinstance(self.payload, bytes):
            raise BadArgument(f"payload={self.payload!r}: expected bytes")
        check_range("len(payload)", len(self.payload), 0, MOST_DATA, base="d", clause="IEEE 802.3 3.2.7")
        if type(self.drop_eligible) is not bool:
            raise BadArgument(f"drop_eligible={self.drop_eligible!r}: expected bool")
        check_range("priority", self.priority, 0, 7, base="d", clause="IEEE 802.1Q")
        if self.vlan is not None:
            check_range("vlan", self.vlan, 0, 0xFFF, clause="IEEE 802.1Q")
        elif self.priority or self.drop_eligible:
            raise BadArgument("vlan=None: a frame without a tag has no priority and cannot be drop_eligible")
        if self.ethertype == TAG_TYPE and self.vlan is None:
            raise BadArgument(f"ethertype={TAG_TYPE:#x}: announces a tag; give vlan= instead")
        self._fit_payload()

    def _fit_payload(self) -> None:
        """Fill the payload up where its receiver cannot take the pad off again; check a length where it can."""
        if is_length(self.ethertype):
            if self.ethertype != len(self.payload):
                raise BadArgument(
                    f"ethertype={self.ethertype}: up to {MOST_DATA} it is the payload's length, {len(self.payload)}"
                )
        elif self.ethertype < FIRST_TYPE:
            raise BadArgument(
                f"ethertype={self.ethertype:#x}: must be a length up to {MOST_DATA} or a type from {FIRST_TYPE:#x}"
            )
        else:
            filled = self.payload.ljust(least_data(self.vlan is not None), b"\0")
            object.__setattr__(self, "payload", filled)
