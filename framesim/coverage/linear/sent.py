"""SENT by its ticks, exactly: the four-bit CRC beside the states of a receiver that measures pulses.

A flipped tick moves an edge by one, or splits a pulse in two, or joins two; all of it is in, a sync pulse of
another length included, by which every nibble is then scaled. The status nibble is not covered by the CRC, so
single flips pass.
"""

from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.codes import sent_crc
from framesim.coverage.linear.answer import EXACT, FrameResidual
from framesim.coverage.linear.flow import Channel, Ends, Register, channel_of, closely, counted, follow, speaks
from framesim.coverage.linear.framing import Framing, Output, framing, nothing, without_guards
from framesim.errors import BadArgument, check_range
from framesim.linecoding.pulses import LONG, PAUSE_MOST, SYNC_TICKS
from framesim.networks.network import Network
from framesim.networks.registry import configured
from framesim.networks.sent import SENT
from framesim.wire import WireFrame
from framesim.words import Check

__all__ = ["crc_step", "sent_ends", "sent_patterns", "sent_residual"]

SEED = sent_crc([], legacy=True)
BASIS = "every flip pattern of the ticks counted, the CRC and all states of the receiver carried along"


def sent_residual(sent: WireFrame, channel: Any, *, most_flips: int = 2, quiet: bool = False) -> FrameResidual:
    """Return the residual error probability of a SENT frame whose ticks are flipped; exact.

    The receiver knows its sensor's data sheet and meets the first frame after a silence (as in ``framesim.judge``).

    Args:
        sent: the frame.
        channel: ``Scatter``, or a channel with ``matrices``.
        most_flips: up to how many flips undetected patterns are counted; 0: not at all.
        quiet: nothing flips after the frame's last tick.

    Raises:
        BadArgument: not a SENT frame, or ``most_flips`` out of range.
        NotFeasible: the channel has no states, or too many.
    """
    check_range("most_flips", most_flips, 0, 6, base="d")
    found = channel_of(channel, "sent")
    ends = closely(lambda floor: sent_ends(sent, found, quiet=quiet, floor=floor))
    return FrameResidual(
        network=sent.network,
        low=ends.undetected,
        high=ends.undetected + ends.undecided,
        method="exact" if ends.undecided <= EXACT * ends.undetected else "bounded",
        basis=BASIS,
        patterns=sent_patterns(sent, most_flips, quiet=quiet) if most_flips else None,
        by_check=ends.by_check,
        delivered=ends.delivered,
        unseen=ends.unseen,
    )


def sent_patterns(sent: WireFrame, most_flips: int, *, quiet: bool = False) -> dict[int, int]:
    """Return the number of undetected patterns by flips, those after the frame became valid left out.

    Raises:
        BadArgument: not a SENT frame.
    """
    # The form is for the cache: frames compare as equal without it, and of some data both forms are the same bits.
    return dict(enumerate(_counts(sent, getattr(sent.frame, "crc_form", None), most_flips, quiet), start=1))


@lru_cache(maxsize=64)
def _counts(sent: WireFrame, _form: str | None, most_flips: int, quiet: bool) -> tuple[int, ...]:
    ends = sent_ends(sent, counted(most_flips), quiet=quiet)
    return tuple(round(ends.accepted[:, 1, flips].sum()) for flips in range(1, most_flips + 1))


def sent_ends(sent: WireFrame, channel: Channel, *, quiet: bool = False, floor: float = 0.0) -> Ends:
    """Return what becomes of a SENT frame on ``channel``; ``floor`` as for ``flow.follow``.

    Raises:
        BadArgument: not a SENT frame.
    """
    if sent.network != SENT.name:
        raise BadArgument(f"sent: expected a SENT frame, got one of {sent.network}")
    found = configured(SENT, sent.frame)
    paused = PAUSE_MOST if sent.frame.pause is not None else 0
    return follow(
        _states(found),
        sent.bits,
        channel,
        register=_register(sent.frame.crc_form),
        content=frozenset({"status", "data"}).__contains__,
        rest_bits=paused + 2 * SYNC_TICKS + LONG,
        quiet=quiet,
        floor=floor,
    )


@lru_cache(maxsize=4)
def _states(found: Network) -> Framing:
    return framing(replace(found, layout=without_guards(found.layout)), relevant=nothing)


def crc_step(form: str) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Return the CRC as tables.

    Args:
        form: ``"recommended"`` or ``"legacy"``.

    Returns:
        (after, check): the register times x^4, to which the next nibble is added; and the check nibble that belongs
        to a register. Both dtype int32, shape (16,).
    """
    lifted = sent_crc([0], legacy=True)  # the seed times x^4
    after = np.array([sent_crc([register ^ lifted, 0], legacy=True) for register in range(16)], np.int32)
    return after, np.arange(16, dtype=np.int32) if form == "legacy" else after


def _register(form: str) -> Register:
    after_four, check = crc_step(form)

    def after(output: Output) -> NDArray[np.int32] | None:
        if output.kept_in not in ("data", "CRC"):
            return None
        nibble = int("".join(map(str, output.bits)), 2)
        if output.kept_in == "data":
            return after_four ^ np.int32(nibble)
        return np.where(check == nibble, np.arange(16), speaks(Check.CRC)).astype(np.int32)

    return Register(n_values=16, first=SEED, after=after)
