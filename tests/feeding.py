"""Feeding a receiver in every way that must make no difference."""

from collections.abc import Iterable

from framesim.networks import network
from framesim.networks.receiver import Receiver, Reception

__all__ = ["receive_every_way"]


def receive_every_way(bits: Iterable[int], name: str, *, rest: int = 8) -> Reception:
    """Return the reception of ``bits`` on network ``name``, the same however they are chopped.

    Whole; bit by bit; in growing pieces; and, where a verdict stands by the end, with ``rest`` idle bits
    after it.

    Raises:
        AssertionError: two ways give different answers.
    """
    given = list(bits)
    wanted = network(name)
    whole = Receiver(wanted)
    verdict = whole.feed(given)
    answer = whole.finish()
    assert verdict in (None, answer), (verdict, answer)

    stepper = Receiver(wanted)
    spoken = [stepper.feed([bit]) for bit in given]
    assert stepper.finish() == answer, (stepper.finish(), answer)
    standing = [reception for reception in spoken if reception is not None]
    assert all(reception == answer for reception in standing), standing

    pieces = Receiver(wanted)
    first, size = 0, 1
    while first < len(given):
        pieces.feed(given[first : first + size])
        first, size = first + size, size + 1
    assert pieces.finish() == answer, (pieces.finish(), answer)

    if verdict is not None:
        trailing = Receiver(wanted)
        trailing.feed([*given, *[wanted.layout.idle] * rest])
        assert trailing.finish() == answer, (trailing.finish(), answer)
    return answer
