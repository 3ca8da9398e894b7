"""The judge of a frame sent on two channels at once and compared by whoever gets both (FlexRay)."""

from bitarray import bitarray

from framesim.errors import BadArgument
from framesim.judging import Judgement, judge, run_receiver
from framesim.networks import registry
from framesim.networks.flexray import FlexRayFrame, compare_channels, same_content
from framesim.networks.receiver import Receiver
from framesim.wire import WireFrame
from framesim.words import Check, Outcome

__all__ = ["judge_channels"]


def judge_channels(
    sent_a: WireFrame, seen_a: bitarray, sent_b: WireFrame, seen_b: bitarray, *, need_both: bool = False
) -> Judgement:
    """Compare what was sent on both channels with what a receiver that compares them makes of it.

    Args:
        sent_a: the frame on channel A.
        seen_a: the wire bits at channel A's receiver.
        sent_b: the same frame on channel B.
        seen_b: the wire bits at channel B's receiver, on the same bit clock.
        need_both: a frame that only one channel delivered is refused.

    Returns:
        ``alone`` names every check that would have stopped the frame if it were the only one on each channel,
        and ``redundancy`` if what was read on the two, other checks ignored, differs.

    Raises:
        BadArgument: not two FlexRay frames that say the same on channel A and on channel B.
    """
    frame, other = sent_a.frame, sent_b.frame
    if not isinstance(frame, FlexRayFrame) or not isinstance(other, FlexRayFrame):
        raise BadArgument(f"sent: expected two FlexRay frames, got {sent_a.network} and {sent_b.network}")
    if (frame.channel, other.channel) != ("A", "B") or not same_content(frame, other):
        raise BadArgument("sent: expected one frame, sent on channel A and on channel B")
    on_a, on_b = judge(sent_a, seen_a), judge(sent_b, seen_b)
    reception = compare_channels(on_a.reception, on_b.reception, need_both=need_both)
    alone = set(on_a.alone | on_b.alone if need_both else on_a.alone & on_b.alone)
    if _read(sent_a, seen_a) != _read(sent_b, seen_b):
        alone.add(Check.REDUNDANCY)
    if reception.check is not None:
        outcome = Outcome.DETECTED
    elif reception.accepted:
        outcome = Outcome.DELIVERED if same_content(reception.frame, frame) else Outcome.UNDETECTED
    else:
        outcome = Outcome.UNSEEN
    return Judgement(
        outcome=outcome, check=reception.check, at=reception.at, alone=frozenset(alone), reception=reception
    )


def _read(sent: WireFrame, seen: bitarray) -> dict[str, object] | None:
    """Return the content that a receiver without checks reads; None if it never gets to a frame's end."""
    listening: Receiver = run_receiver(registry.network(sent.network), seen, strict=False)
    if not listening.done:
        return None
    carried = {field.name for field in listening.layout.fields if field.carries}
    content = {name: value for name, value in listening.read.items() if name in carried}
    if not content["null frame indicator"]:
        content["payload"] = len(content.get("payload", b""))  # what stands in a null frame is not looked at
    return content
