"""What a FlexRay frame says."""

from dataclasses import dataclass

from framesim.errors import BadArgument, check_range

__all__ = ["CHANNELS", "FlexRayFrame"]

CHANNELS = ("A", "B")


@dataclass(frozen=True, slots=True, kw_only=True)
class FlexRayFrame:
    """A FlexRay frame as fields.

    Attributes:
        frame_id: 1..2047: the slot in which it is sent. 0 marks an invalid frame, so nobody sends it.
        payload: 0..254 bytes, an even number; the first byte is sent first.
        cycle: 0..63: the communication cycle in which it is sent.
        channel: ``"A"`` or ``"B"``. Not on the wire: it presets the frame's CRC.
        sync: takes part in clock synchronisation.
        startup: takes part in start-up; startup frames are sync frames.
        preamble_indicator: the payload opens with a network management vector (static segment) or a message
            identifier (dynamic segment).
        null: carries no usable data; its payload is sent as zeros and not looked at.
        dynamic: sent in the dynamic segment. Not on the wire either: everybody knows it from the schedule.

    Raises:
        BadArgument: a value out of range, or indicators that contradict each other.
    """

    frame_id: int
    payload: bytes = b""
    cycle: int = 0
    channel: str = "A"
    sync: bool = False
    startup: bool = False
    preamble_indicator: bool = False
    null: bool = False
    dynamic: bool = False

    def __post_init__(self) -> None:
        for flag in ("sync", "startup", "preamble_indicator", "null", "dynamic"):
            if type(getattr(self, flag)) is not bool:
                raise BadArgument(f"{flag}={getattr(self, flag)!r}: expected bool")
        check_range("frame_id", self.frame_id, 1, 2047, base="d", clause="FlexRay PS 4.2.1.6")
        check_range("cycle", self.cycle, 0, 63, base="d", clause="FlexRay PS 4.2.1.9")
        if self.channel not in CHANNELS:
            raise BadArgument(f"channel={self.channel!r}: must be 'A' or 'B'")
        if not isinstance(self.payload, bytes):
            raise BadArgument(f"payload={self.payload!r}: expected bytes")
        check_range("len(payload)", len(self.payload), 0, 254, base="d", clause="FlexRay PS 4.2.2")
        if len(self.payload) % 2:
            raise BadArgument(f"len(payload)={len(self.payload)}: must be even (FlexRay PS 4.2.1.7)")
        if self.startup and not self.sync:
            raise BadArgument("startup=True: only a sync frame may be a startup frame (FlexRay PS 4.2.1.5)")
        if self.null and any(self.payload):
            raise BadArgument("payload: must be all zeros in a null frame (FlexRay PS 4.2.1.3)")
        for flag in ("sync", "startup", "null"):
            if self.dynamic and getattr(self, flag):
                raise BadArgument(f"{flag}=True: not in the dynamic segment (FlexRay PS 4.2.1)")
