"""The judge: the only one who sees both what was sent and what a receiver made of it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from bitarray import bitarray

from framesim.errors import BadArgument
from framesim.networks import encoder, registry
from framesim.networks.network import Network
from framesim.networks.receiver import Receiver, Reception
from framesim.networks.transitions import HUNTING
from framesim.wire import WireFrame
from framesim.words import Check, Outcome

__all__ = ["Judgement", "encode", "judge", "receive", "sender_objects"]

# How long the wire rests after the frame while the receiver is still undecided. Long enough for the longest
# frame that a corrupted length can announce on a network whose line code does not stop it sooner.
REST_BITS = 4096


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """What became of a frame.

    Attributes:
        outcome: delivered, detected, undetected or unseen.
        check: the first check to speak, if detected.
        at: the wire bit at which it spoke.
        alone: every check that would have caught it if it were the only one; each is judged by itself, with the
            others' objections ignored, so the set may be larger than the first to speak.
        reception: what the receiver concluded.
    """

    outcome: Outcome
    check: Check | None
    at: int | None
    alone: frozenset[Check]
    reception: Reception


def encode(frame: Any) -> WireFrame:
    """Put ``frame`` on the wire, as its sender does.

    Raises:
        BadArgument: it is no frame of any known network.
    """
    return encoder.encode_with(registry.network_of(frame), frame)


def receive(bits: Iterable[int], network: str) -> Reception:
    """Return what a receiver of ``network`` makes of ``bits``, wire order; never raises on any bits.

    Bits after the verdict are not looked at. ``complete`` is False when the wire ended before a verdict.

    Raises:
        BadArgument: no such network.
    """
    receiver = Receiver(registry.network(network))
    receiver.feed(bits)
    return receiver.finish()


def judge(sent: WireFrame, seen: bitarray, *, common: bool = False) -> Judgement:
    """Compare what was sent with what a receiver makes of ``seen``.

    The wire rests at its idle level after ``seen`` until the receiver has concluded.

    Args:
        sent: the frame on the sender's wire.
        seen: the wire bits at the receiver; ``seen[0]`` stands at the time of ``sent.bits[0]``.
        common: everybody on the wire sees ``seen``, the sender's monitoring included. Default: this receiver
            alone does.

    Raises:
        BadArgument: ``common`` on a network whose sender does not monitor.
    """
    network = registry.network(sent.network)
    strict = _run(network, seen, strict=True)
    alone = set(_run(network, seen, strict=False).spoken)
    reception = strict.finish()
    check, at = reception.check, reception.at
    if common:
        objection = sender_objects(network, sent, seen)
        if objection is not None:
            alone.add(Check.MONITORING)
            if at is None or objection <= at:
                check, at = Check.MONITORING, objection
    if check is not None:
        outcome = Outcome.DETECTED
    elif reception.accepted:
        outcome = Outcome.DELIVERED if reception.frame == sent.frame else Outcome.UNDETECTED
    else:
        outcome = Outcome.UNSEEN
    return Judgement(outcome=outcome, check=check, at=at, alone=frozenset(alone), reception=reception)


def _run(network: Network, seen: bitarray, *, strict: bool) -> Receiver:
    """Feed ``seen`` and then the resting wire until the receiver concludes."""
    receiver = Receiver(network, strict=strict)
    receiver.feed(seen)
    if network.ends_with_wire:
        receiver.finish()
        return receiver
    rest = (network.layout.idle,)
    for _ in range(REST_BITS):
        if receiver.done or receiver.state == HUNTING:
            break
        receiver.feed(rest)
    return receiver


def sender_objects(network: Network, sent: WireFrame, seen: bitarray) -> int | None:
    """Return the wire bit at which the sender, reading back its own bits, stops; None if it never does.

    In the arbitration field a recessive bit read as dominant is a lost arbitration: the sender withdraws, so the
    frame as sent ends there too.

    Raises:
        BadArgument: senders of this network do not monitor.
    """
    if not network.monitors:
        raise BadArgument(f"common: a sender on {network.title} does not read back its own bits")
    for position, (own, read) in enumerate(zip(sent.bits, seen, strict=False)):
        if own != read and sent.span_at(position).name not in network.unmonitored:
            return position
    return None
