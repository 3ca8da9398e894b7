"""The judge: the only one who sees both what was sent and what a receiver made of it."""

import reprlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeVar

from bitarray import bitarray

from framesim.errors import BadArgument
from framesim.networks import encoder, registry
from framesim.networks.network import Network
from framesim.networks.receiver import Receiver, Reception
from framesim.networks.transitions import HUNTING
from framesim.wire import WireFrame
from framesim.words import Check, Outcome

__all__ = ["Judgement", "Objection", "encode", "judge", "receive", "run_receiver", "sender_objects"]

# How long the wire rests after the frame while the receiver is still undecided. Long enough for the longest
# frame that a corrupted length can announce on a network whose line code does not stop it sooner.
REST_BITS = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """What became of a frame.

    Attributes:
        outcome: delivered, detected, undetected or unseen.
        check: the first check to speak, if detected.
        at: the wire bit at which it spoke.
        alone: every check that would have caught it if it were the only one; each is judged by itself, with
            the others' objections ignored, so the set may be larger than the first to speak.
        reception: what the receiver concluded.
    """

    outcome: Outcome
    check: Check | None
    at: int | None
    alone: frozenset[Check]
    reception: Reception


Kind = TypeVar("Kind")


def encode(frame: Any) -> WireFrame:
    """Put ``frame`` on the wire, as its sender does.

    Raises:
        BadArgument: it is no frame of any known network.
    """
    return encoder.encode_with(registry.network_of(frame), frame)


def receive(bits: Iterable[int], network: str | Network) -> Reception:
    """Return what a receiver of ``network`` makes of ``bits``, wire order; never raises on any bits.

    Bits after the verdict are not looked at. ``complete`` is False when the wire ended before a verdict.

    Args:
        bits: as seen at the receiver.
        network: its name, or a network configured by hand.

    Raises:
        BadArgument: no such network, or something among the bits looked at that is neither 0 nor 1.
    """
    found = registry.network(network) if isinstance(network, str) else network
    receiver = Receiver(_expected("network", found, Network, "the name of a network, or a Network"))
    receiver.feed(bits if isinstance(bits, bitarray) else _levels("bits", bits))
    return receiver.finish()


def _expected(name: str, value: object, kind: type[Kind], words: str) -> Kind:
    """Return ``value``, which must be of ``kind``."""
    if not isinstance(value, kind):
        raise BadArgument(f"{name}={reprlib.repr(value)}: expected {words}")
    return value


def _levels(name: str, bits: object) -> Iterator[int]:
    """Yield ``bits`` one by one as they are asked for, each 0 or 1.

    Raises:
        BadArgument: at one that is neither, or if ``bits`` is text or nothing to go through.
    """
    if isinstance(bits, str) or not isinstance(bits, Iterable):
        raise BadArgument(f"{name}={reprlib.repr(bits)}: expected 0 and 1, one by one, not {type(bits).__name__}")
    for place, bit in enumerate(bits):
        try:
            known = bit in (0, 1)
        except ValueError:  # rows of an array have no truth value
            known = False
        if not known:
            raise BadArgument(f"{name}[{place}]={reprlib.repr(bit)}: must be 0 or 1")
        yield int(bit)


def judge(sent: WireFrame, seen: Iterable[int], *, common: bool = False, network: Network | None = None) -> Judgement:
    """Compare what was sent with what a receiver makes of ``seen``.

    The wire rests at its idle level after ``seen`` until the receiver has concluded.

    Args:
        sent: the frame on the sender's wire.
        seen: the wire bits at the receiver; ``seen[0]`` stands at the time of ``sent.bits[0]``.
        common: everybody on the wire sees ``seen``, the sender's monitoring included. Default: this receiver
            alone does.
        network: how this receiver is configured, if otherwise than the sender expects.

    Raises:
        BadArgument: ``common`` on a network whose sender does not monitor; ``sent`` is no frame on the wire, ``seen``
            holds something that is neither 0 nor 1, or ``network`` is no network.
    """
    _expected("sent", sent, WireFrame, "a WireFrame, as encode() returns")
    read = seen if isinstance(seen, bitarray) else bitarray(_levels("seen", seen))
    if network is not None:
        _expected("network", network, Network, "a Network")
    else:
        network = registry.configured(registry.network(sent.network), sent.frame)
    listening = run_receiver(network, read, strict=False)
    alone = set(listening.spoken)
    reception = _strictly(network, read, listening)
    check, at = reception.check, reception.at
    if common:
        objection = sender_objects(network, sent, read)
        # A receiver that took the frame as valid before the sender objects keeps it, and gets it twice.
        in_time = objection is not None and (reception.valid_at is None or objection.at <= reception.valid_at)
        if objection is not None and in_time:
            alone.add(objection.check)
            if at is None or objection.at <= at:
                check, at = objection
    if check is not None:
        outcome = Outcome.DETECTED
    elif reception.accepted:
        outcome = Outcome.DELIVERED if reception.frame == sent.frame else Outcome.UNDETECTED
    else:
        outcome = Outcome.UNSEEN
    return Judgement(outcome=outcome, check=check, at=at, alone=frozenset(alone), reception=reception)


def _strictly(network: Network, seen: bitarray, listening: Receiver) -> Reception:
    """Return what a strict receiver concludes, from one that listened on: up to the first check they are one."""
    if listening.stayed:  # the strict one may have left before that check
        return run_receiver(network, seen, strict=True).finish()
    for check, at in listening.spoken.items():
        return Reception(accepted=False, complete=True, check=check, at=at)
    return listening.finish()


def run_receiver(network: Network, seen: bitarray, *, strict: bool) -> Receiver:
    """Feed ``seen`` and then the resting wire until the receiver concludes."""
    receiver = Receiver(network, strict=strict)
    receiver.feed(seen)
    if network.ends_with_wire:
        receiver.finish()
        return receiver
    rest = (network.layout.idle,)
    for _ in range(network.rest_bits or REST_BITS):
        if receiver.done or receiver.state == HUNTING:
            break
        receiver.feed(rest)
    return receiver


class Objection(NamedTuple):
    """What the sender finds wrong with its own frame, and at which wire bit."""

    check: Check
    at: int


def sender_objects(network: Network, sent: WireFrame, seen: bitarray) -> Objection | None:
    """Return what makes the sender, reading back its own bits, stop; None if nothing does.

    In the arbitration field a recessive bit read as dominant is a lost arbitration: the sender withdraws, so
    the frame as sent ends there too. Where others must agree, a differing bit is a missing acknowledgement.

    Raises:
        BadArgument: senders of this network do not monitor.
    """
    if not network.monitors:
        raise BadArgument(f"common: a sender on {network.title} does not read back its own bits")
    for position, (own, read) in enumerate(zip(sent.bits, seen, strict=False)):
        if own != read:
            span = sent.span_at(position).name
            if span in network.acknowledged_in:
                return Objection(Check.ACKNOWLEDGE, position)
            if span not in network.unmonitored:
                return Objection(Check.MONITORING, position)
    return None
