"""The funnel of one link: from sparks to frames that were really changed."""

from dataclasses import asdict, dataclass, fields

__all__ = ["Funnel"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Funnel:
    """Frames by how far a disturbance got; flipped frames are toggled ones.

    Most toggled frames are touched ones, but not all: a transient before the frame may reach into it, and SENT's edges
    are moved by the slow part of a spark too.

    Attributes:
        touched: a fast transient began while the frame was on the wire.
        toggled: the receiver's comparator left the sent level for a while.
        flipped: at least one bit was sampled at the wrong level.
    """

    touched: int = 0
    toggled: int = 0
    flipped: int = 0

    def __add__(self, other: "Funnel") -> "Funnel":
        if not isinstance(other, Funnel):
            return NotImplemented
        return Funnel(**{item.name: getattr(self, item.name) + getattr(other, item.name) for item in fields(self)})

    def to_json(self) -> dict[str, int]:
        """Return the counts, ready for JSON."""
        return asdict(self)
