"""SENT by its edges: pulse widths in ticks, with fractions, so that a disturbance can move an edge by less than one.

The widths are put back on a wire of whole ticks, scaled by their sync pulse as a receiver scales them, and the same
receiver as for bits reads that. So the format stands in one place.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import accumulate, pairwise

from bitarray import bitarray

from framesim.errors import BadArgument, check_number
from framesim.linecoding.pulses import (
    LONG,
    LOW_TICKS,
    PAUSE_MOST,
    SYNC_TICKS,
    in_step,
    is_sync,
    nearest_ticks,
)
from framesim.networks.encoder import encode_with
from framesim.networks.receiver import Receiver, Reception
from framesim.networks.sent.format import SENT, SentFrame, network_for
from framesim.words import Check

__all__ = ["receive_widths", "widths_of", "with_edges_moved"]


def widths_of(frame: SentFrame) -> tuple[float, ...]:
    """Return the pulse widths of ``frame`` in ticks: sync, status, data, CRC, and the pause if there is one.

    Each is the time from a falling edge to the next; the last one ends where the next frame begins.

    >>> widths_of(SentFrame(status=1, nibbles=(0, 15)))
    (56.0, 13.0, 12.0, 27.0, 15.0)
    """
    assert SENT.configured_for is not None
    wire = encode_with(SENT.configured_for(frame), frame).bits
    edges = [0, *(place + 1 for place in wire.search(bitarray("10")))]
    return tuple(float(later - sooner) for sooner, later in pairwise(edges))


def with_edges_moved(widths: Sequence[float], moves: Sequence[float]) -> tuple[float, ...]:
    """Return ``widths`` after each falling edge was moved; a later edge makes the pulse before it longer.

    Args:
        widths: in ticks, in wire order.
        moves: one for each edge, in ticks, positive for later; one more than there are widths.

    Raises:
        BadArgument: the numbers do not match, or an edge would not stay behind the one before it.
    """
    if len(moves) != len(widths) + 1:
        raise BadArgument(f"len(moves)={len(moves)}: must be {len(widths) + 1}, one for each edge")
    for edge, move in enumerate(moves):
        check_number(f"moves[{edge}]", move, -1e6, 1e6, unit="ticks")
    moved = tuple(width + moves[place + 1] - moves[place] for place, width in enumerate(widths))
    for place, width in enumerate(moved):
        if width <= 0:
            raise BadArgument(f"moves[{place + 1}]={moves[place + 1]!r}: the edge must stay behind the one before it")
    return moved


def receive_widths(
    widths: Iterable[float],
    *,
    nibbles: int | None = None,
    crc_form: str = "recommended",
    pause: bool = False,
    previous_sync: float | None = None,
) -> Reception:
    """Return what a receiver makes of pulse widths, sync pulse first, followed by the next frame's sync pulse.

    ``at`` and ``valid_at`` of the answer count pulses: 0 is the sync pulse, the number of widths the pulse after
    them. The receiver takes the sync pulse for 56 ticks and every other pulse for the nearest whole number of them.

    Args:
        widths: any unit of time will do as long as a sync pulse is within a quarter of 56.
        nibbles: how many data nibbles there are; None: the receiver does not know, nor the CRC's form or the pause.
        crc_form: as in ``network_for``; looked at only with ``nibbles``.
        pause: as in ``network_for``; looked at only with ``nibbles``.
        previous_sync: width of the sync pulse of the frame before, for a receiver in step with its sensor.

    Raises:
        BadArgument: no widths, one that is not a positive finite number, or what ``network_for`` refuses.
    """
    if not isinstance(widths, Iterable):
        raise BadArgument(f"widths={widths!r}: expected numbers, got {type(widths).__name__}")
    given = list(widths)
    for place, width in enumerate(given):
        check_number(f"widths[{place}]", width, 0, 1e9, unit="ticks", open_low=True)
    if previous_sync is not None:
        check_number("previous_sync", previous_sync, 0, 1e6, unit="ticks", open_low=True)
    network = SENT if nibbles is None else network_for(nibbles=nibbles, crc_form=crc_form, pause=pause)
    if not given:
        return Reception(accepted=False, complete=False)
    sync, *pulses = given
    if previous_sync is not None and not in_step(sync, previous_sync):
        return Reception(accepted=False, complete=True, check=Check.TIMING, at=0)
    if previous_sync is None and not is_sync(sync):
        return Reception(accepted=False, complete=False)
    ticks = [SYNC_TICKS, *(_whole_ticks(width, sync) for width in pulses), LONG]
    starts = [0, *accumulate(ticks)]
    wire = bitarray()
    for width in ticks:
        low = min(LOW_TICKS, width - 1)
        wire += bitarray(low) + bitarray("1") * (width - low)
    receiver = Receiver(network)
    receiver.feed(wire)
    got = receiver.finish()
    return replace(got, at=_pulse_at(starts, got.at), valid_at=_pulse_at(starts, got.valid_at))


def _whole_ticks(width: float, sync: float) -> int:
    """Return the width of a pulse on a wire of whole ticks.

    Wider than any pulse may be is as good as wider still, and two ticks are the least that has an edge in it.
    """
    most = PAUSE_MOST + 2
    return max(2, min(nearest_ticks(min(width, most * sync), sync), most))


def _pulse_at(starts: Sequence[int], tick: int | None) -> int | None:
    """Return which pulse runs at ``tick``, or ends there: a pulse is known at the falling edge that closes it."""
    return None if tick is None else bisect_left(starts, tick) - 1
