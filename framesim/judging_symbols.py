"""The judge of a frame sent as ternary symbols (100BASE-T1)."""

from collections.abc import Sequence

from framesim.judging import Judgement
from framesim.networks.ethernet.line import TernaryFrame
from framesim.networks.ethernet.line_receiver import LineReceiver
from framesim.words import Outcome

__all__ = ["judge_symbols"]


def judge_symbols(sent: TernaryFrame, seen: Sequence[int]) -> Judgement:
    """Compare what was sent with what a receiver makes of the symbols ``seen``; places count symbols.

    Args:
        sent: the frame on the sender's pair of wires.
        seen: the symbols at the receiver, as from ``sent.disturbed(...)``. The link is quiet after them.

    Raises:
        BadArgument: a symbol other than -1, 0 and 1.
    """
    strict = LineReceiver(seed=sent.seed, slave=sent.slave)
    strict.feed(seen)
    reception = strict.finish()
    listening = LineReceiver(seed=sent.seed, slave=sent.slave, strict=False)
    listening.feed(seen)
    listening.finish()
    if reception.check is not None:
        outcome = Outcome.DETECTED
    elif reception.accepted:
        outcome = Outcome.DELIVERED if reception.frame == sent.frame else Outcome.UNDETECTED
    else:
        outcome = Outcome.UNSEEN
    return Judgement(
        outcome=outcome,
        check=reception.check,
        at=reception.at,
        alone=frozenset(listening.spoken),
        reception=reception,
    )
