"""What works have in common that send one subject through one channel to one receiver."""

from typing import Any

from framesim.coverage.population import Payloads
from framesim.networks.registry import network_of
from framesim.plain import frame_fields

__all__ = ["NOTES", "OneReceiver", "described", "title_of"]

NOTES = (
    "Disturbance is local: it reaches one receiver; the sender and other nodes do not see it.",
    "Evidence for a safety case (ISO 26262, IEC 61508), never the case itself: that needs competent assessment.",
)


class OneReceiver:
    """The words of such a work, from its ``subject`` (a frame or ``Payloads``), ``channel`` and ``frames_per_unit``."""

    __slots__ = ()
    kind = ""  #: of the work, in its description
    subject: Any
    channel: Any
    frames_per_unit: int

    @property
    def title(self) -> str:
        """One line on what is done."""
        return title_of(self.subject, self.channel)

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader must know."""
        return NOTES

    @property
    def columns(self) -> tuple[str, ...]:
        """One column, without a name."""
        return ("",)

    def describe(self) -> dict[str, Any]:
        """Return what a unit depends on."""
        return {
            "kind": self.kind,
            "subject": described(self.subject),
            "channel": self.channel.describe(),
            "frames_per_unit": self.frames_per_unit,
        }


def title_of(subject: Any, channel: Any) -> str:
    """Return in one line what is sent through which channel."""
    if isinstance(subject, Payloads):
        sent = f"{network_of(subject.frame).title}, random payloads of {subject.n_bytes} bytes"
    else:
        sent = network_of(subject).title
    given = channel.describe()
    how = ", ".join(
        f"{key.replace('_', ' ')} {value:g}" for key, value in given.items() if isinstance(value, float | int)
    )
    return f"{sent}; {str(given['kind']).replace('_', ' ')}{f', {how}' if how else ''}"


def described(subject: Any) -> dict[str, Any]:
    """Return a frame or population, ready for JSON."""
    if isinstance(subject, Payloads):
        return {**subject.describe(), "frame": described(subject.frame)}
    return {"network": network_of(subject).name, **frame_fields(subject)}
