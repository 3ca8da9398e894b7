"""What a claim is about: frames with certain payloads, or a code."""

from dataclasses import dataclass, replace
from typing import Any, Literal

from framesim.codes.crc import Crc
from framesim.coverage.sight import Reach
from framesim.plain import frame_fields

__all__ = ["CodeSubject", "FrameSubject", "PayloadKind", "Subject"]

#: fixed: one frame. list: several. random: payloads drawn, each as likely as the others. worst: whatever payload is
#: weakest, as far as a search finds it.
PayloadKind = Literal["fixed", "list", "random", "worst"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameSubject:
    """Frames of one network.

    Attributes:
        network: as in ``framesim.networks()``.
        frames: the frame, or those of the list; for random and worst payloads one frame that stands for all, its
            payload zeros.
        payload: which payloads are meant.
        acceptance: ``receiver_only``, or ``same_end``: what a receiver accepts elsewhere than at the sender's own end
            does not count, since other nodes would object.
        receivers: how many listen.
        reach: whether flips are one receiver's own, or common to all nodes.
    """

    network: str
    frames: tuple[Any, ...]
    payload: PayloadKind = "fixed"
    acceptance: Literal["receiver_only", "same_end"] = "receiver_only"
    receivers: int = 1
    reach: Reach = "local"

    @property
    def frame(self) -> Any:
        """The frame, or the one that stands for all."""
        return self.frames[0]

    @property
    def same_end(self) -> bool:
        """Whether only what is accepted at the sender's own end counts."""
        return self.acceptance == "same_end"

    @property
    def n_bytes(self) -> int:
        """Length of the payload."""
        return len(self.frame.payload)

    @property
    def open_payload(self) -> bool:
        """Whether the claim is about more payloads than are written down."""
        return self.payload in ("random", "worst")

    def with_payload(self, payload: bytes) -> Any:
        """Return the frame with another payload."""
        return replace(self.frame, payload=payload)

    def describe(self) -> dict[str, Any]:
        """Return the subject, ready for JSON."""
        record: dict[str, Any] = {"kind": "frame", "network": self.network, "payload": self.payload}
        if self.open_payload:
            fields = {key: value for key, value in frame_fields(self.frame).items() if key != "payload"}
            record |= {"payload_bytes": self.n_bytes, "frame": fields}
        else:
            record["frames"] = [frame_fields(frame) for frame in self.frames]
        return record | {"acceptance": self.acceptance, "receivers": self.receivers, "reach": self.reach}


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeSubject:
    """A CRC over so many data bits, by itself: no line code, no fixed bits.

    Attributes:
        code: the CRC.
        data_bits: protected bits, without the check bits.
        named: it is found by its name in the catalogue.
    """

    code: Crc
    data_bits: int
    named: bool

    def describe(self) -> dict[str, Any]:
        """Return the subject, ready for JSON."""
        code = self.code
        return {
            "kind": "code",
            "name": code.name,
            "width": code.width,
            "polynomial": f"{code.polynomial:#x}",
            "data_bits": self.data_bits,
        }


Subject = FrameSubject | CodeSubject
