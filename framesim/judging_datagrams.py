"""The judge of a UDP datagram in an Ethernet frame: the frame's checks, and the checksums above them."""

from bitarray import bitarray

from framesim.errors import BadArgument
from framesim.judging import Judgement, judge, run_receiver
from framesim.networks.ethernet.format import ETHERNET, length_or_type
from framesim.networks.ethernet.frame import EthernetFrame
from framesim.networks.ethernet.udp import IPV4_TYPE, read_datagram
from framesim.wire import WireFrame
from framesim.words import Check, Outcome

__all__ = ["judge_datagram"]


def judge_datagram(sent: WireFrame, seen: bitarray) -> Judgement:
    """Compare a frame that carries UDP over IPv4 with what a receiver of all three layers makes of ``seen``.

    ``alone`` holds the frame's own checks and, each judged by itself, the checks above: ``checksum`` (either of the
    two), ``length`` and ``form`` of the headers. A type other than 0x0800 goes to nobody here and counts as ``form``.

    Raises:
        BadArgument: the frame sent holds no right datagram.
    """
    frame = sent.frame
    if not isinstance(frame, EthernetFrame) or _faults(frame.ethertype, frame.payload):
        raise BadArgument(f"sent: expected an Ethernet frame with a UDP datagram, got {frame!r}")
    below = judge(sent, seen)
    alone = set(below.alone)
    listening = run_receiver(ETHERNET, seen, strict=False)
    if listening.done:
        alone.update(_faults(length_or_type(listening.read), listening.read["data and pad"]))
    outcome, check, at = below.outcome, below.check, below.at
    accepted = below.reception.frame
    if accepted is not None:
        faults = _faults(accepted.ethertype, accepted.payload)
        if faults:
            outcome, check, at = Outcome.DETECTED, faults[0], below.reception.valid_at
    return Judgement(outcome=outcome, check=check, at=at, alone=frozenset(alone), reception=below.reception)


def _faults(ethertype: int, payload: bytes) -> tuple[Check, ...]:
    """Return the checks above the frame that speak."""
    return read_datagram(payload).faults if ethertype == IPV4_TYPE else (Check.FORM,)
