"""What refutes a claim, in a form that anyone can replay."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from bitarray import bitarray

from framesim.claims.subject import CodeSubject
from framesim.judging import REST_BITS, judge, receive
from framesim.networks.frame_options import frame_options
from framesim.networks.registry import base_name, network, network_of
from framesim.plain import frame_fields
from framesim.wire import WireFrame
from framesim.words import Outcome

__all__ = ["DECIDED_AGAIN", "Counterexample", "command_for", "of_code", "of_distance", "of_figure", "of_frame"]

#: in the evidence folder: decides the claim again, where no other command shows its figure
DECIDED_AGAIN = "framesim claims claims.toml"
_STEP = 8  # resting bits added at a time until the receiver has concluded


@dataclass(frozen=True, slots=True, kw_only=True)
class Counterexample:
    """What refutes a claim.

    Attributes:
        kind: ``frame`` (flips that pass a receiver), ``code`` (flips that pass a code) or ``figure`` (a number).
        replay: commands that show it.
        network: of a frame.
        sent: the frame that was sent.
        flips: wire bits, or bits of the code word, that were inverted.
        wire: what the receiver saw, resting bits behind the frame included.
        accepted: the frame that it accepted.
        valid_at: the wire bit at which it did.
        more: of a code or a figure: what else belongs to it.
    """

    kind: str
    replay: tuple[str, ...]
    network: str = ""
    sent: Any = None
    flips: tuple[int, ...] = ()
    wire: str = ""
    accepted: Any = None
    valid_at: int | None = None
    more: Mapping[str, Any] = field(default_factory=dict)

    def describe(self) -> dict[str, Any]:
        """Return the counterexample, ready for JSON."""
        record: dict[str, Any] = {"kind": self.kind}
        if self.kind == "frame":
            record |= {
                "network": self.network,
                "sent": frame_fields(self.sent),
                "flips": list(self.flips),
                "wire": self.wire,
                "accepted": frame_fields(self.accepted),
                "valid_at": self.valid_at,
            }
        elif self.flips:
            record["flips"] = list(self.flips)
        return record | dict(self.more) | {"replay": list(self.replay)}


def of_frame(sent: WireFrame, flips: Sequence[int]) -> Counterexample | None:
    """Return the counterexample that these flips make; None if a receiver does not accept other content.

    Args:
        sent: the frame.
        flips: wire bits, ascending; some may lie in the resting wire behind the frame.
    """
    spec = network(sent.network)
    seen = bitarray(sent.bits)
    seen.extend([spec.layout.idle] * max(0, flips[-1] + 1 - len(seen)))
    for place in flips:
        seen.invert(place)
    if judge(sent, seen).outcome is not Outcome.UNDETECTED:
        return None
    reception = receive(seen, sent.network)
    while not reception.complete and len(seen) < len(sent) + REST_BITS:
        seen.extend([spec.layout.idle] * _STEP)
        reception = receive(seen, sent.network)
    # A receiver that listens without the judge's knowledge of the cluster may make something else of it.
    if not reception.accepted or reception.frame == sent.frame:
        return None
    replay = [f"framesim decode {sent.network} {seen.to01()}"]
    own = [place for place in flips if place < len(sent)]
    if len(own) == len(flips):
        replay.append(f"{command_for('disturb', sent.frame)} --flip {','.join(map(str, flips))}")
    return Counterexample(
        kind="frame",
        replay=tuple(replay),
        network=sent.network,
        sent=sent.frame,
        flips=tuple(flips),
        wire=seen.to01(),
        accepted=reception.frame,
        valid_at=reception.valid_at,
    )


def of_code(subject: CodeSubject, flips: Sequence[int]) -> Counterexample:
    """Return a pattern of flips that passes a code; bit 0 is the first data bit."""
    return Counterexample(
        kind="code", flips=tuple(flips), replay=(_codes_command(subject),), more={"code": subject.describe()}
    )


def of_distance(subject: CodeSubject, distance: int) -> Counterexample:
    """Return a distance that refutes a claim, where no pattern was put together."""
    return of_figure(_codes_command(subject), hamming_distance=distance, code=subject.describe())


def of_figure(replay: str | CodeSubject, **figures: Any) -> Counterexample:
    """Return a number that refutes a claim, with the command that computes it."""
    if isinstance(replay, CodeSubject):
        replay = f"{_codes_command(replay)} --bit-error-ratio {figures['bit_error_ratio']!r}"
    return Counterexample(kind="figure", replay=(replay,), more=figures)


def _codes_command(subject: CodeSubject) -> str:
    code = subject.code
    which = code.name if subject.named else f"--polynomial {code.polynomial:#x} --width {code.width}"
    return f"framesim codes {which} --data-bits {subject.data_bits}"


def command_for(command: str, frame: Any) -> str:
    """Return ``framesim COMMAND NETWORK`` with the options that describe the frame; defaults are left out."""
    name = base_name(network_of(frame).name)
    return " ".join([f"framesim {command} {name}", *frame_options(frame)])
