"""A recorded voltage on a link: which bits of a stream the comparator toggles, and which the sample reads wrong."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from framesim.disturbance.can_link import CanLink, LevelAt
from framesim.disturbance.waveform import Waveform
from framesim.errors import BadInput

__all__ = ["RecordedHits", "comparator_states", "recorded_hits"]

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]

_BITS_AT_ONCE_SAMPLES = 1 << 20


class RecordedHits(NamedTuple):
    """What a recorded voltage does to the bits that lie wholly inside the recording.

    Attributes:
        first_bit: the first of these bits; bit ``g`` lasts from ``g / bit_rate`` to ``(g + 1) / bit_rate``.
        stop_bit: one past the last.
        toggled: dtype int64. Bits in which the comparator left the sent level for a while, ascending.
        flipped: dtype int64. Bits sampled at the wrong level, ascending.
        loud: dtype int64. Bits in which the voltage reaches the threshold asked for, ascending.
    """

    first_bit: int
    stop_bit: int
    toggled: Places
    flipped: Places
    loud: Places


def recorded_hits(link: CanLink, waveform: Waveform, level_at: LevelAt, *, loud_volts: float = 0.05) -> RecordedHits:
    """Add a recorded difference voltage to the sent levels and let the link's comparator decide.

    The waveform is the disturbance alone, as it stands at the comparator: between the wires, behind the receiver's
    low-pass; the link's ``conversion_loss_db`` and ``bandwidth_hz`` are not applied again. Between samples the voltage
    runs straight, so its turning points are samples and the hysteresis is followed exactly.

    Args:
        link: thresholds, levels, bit rate and sample point.
        waveform: the disturbance.
        level_at: tells the sent levels of bits; asked for the bits inside and the one before.
        loud_volts: from how many volts on a bit counts as loud.

    Raises:
        BadInput: the recording holds not a single whole bit.
    """
    rate, samples_a_bit = link.bit_rate, waveform.rate_hz / link.bit_rate
    slack = 1e-6
    first = int(np.ceil(waveform.start_s * rate - slack))
    stop = int(np.floor(waveform.stop_s * rate + slack))
    if stop <= first:
        raise BadInput(
            f"recording of {waveform.stop_s - waveform.start_s:.3g} s: holds no whole bit of {1 / rate:.3g} s; "
            "expected a longer one"
        )
    step = max(1, int(_BITS_AT_ONCE_SAMPLES / max(1.0, samples_a_bit)))  # each bit has moments of its own as well
    state = int(np.asarray(level_at(np.array([first - 1])))[0])
    toggled, flipped, loud = [], [], []
    for begin in range(first, stop, step):
        bits = np.arange(begin, min(begin + step, stop))
        level = np.asarray(level_at(np.concatenate([[begin - 1], bits])), np.uint8)
        off, wrong, high, state = _some_bits(link, waveform, bits, level, state, loud_volts)
        toggled.append(off)
        flipped.append(wrong)
        loud.append(high)
    # The end of a piece's last bit is looked at with the next piece.
    off, high = (np.unique(np.concatenate(some)) for some in (toggled, loud))
    return RecordedHits(first, stop, off[off >= first], np.concatenate(flipped), high[high >= first])


def _some_bits(
    link: CanLink, waveform: Waveform, bits: Places, level: npt.NDArray[np.uint8], state: int, loud_volts: float
) -> tuple[Places, Places, Places, int]:
    """Follow the comparator through neighbouring bits.

    Args:
        link: see ``recorded_hits``.
        waveform: see ``recorded_hits``.
        bits: shape: (n,).
        level: shape: (n + 1,). Sent levels of the bit before and of these.
        state: what the comparator says when the first bit begins.
        loud_volts: see ``recorded_hits``.

    Returns:
        Toggled, flipped and loud bits, those of the bit before at its very end among them, and what the comparator
        says when the last bit ends.
    """
    moments = _moments(link, waveform, bits, level, state)
    after, place, sent, noise = moments.after, moments.place, moments.sent, moments.noise
    off = np.unique(place[after != sent])
    seen = after[-bits.size :]
    loud = np.unique(place[np.abs(noise) >= loud_volts])
    before = int(bits[0]) - 1
    return before + off, bits[seen != level[1:]], before + loud, int(after[moments.order[-1]])


class _Moments(NamedTuple):
    """Every moment at which something may change; columns of equal length, not in order of time."""

    times: Floats
    order: Places  # puts them in order
    place: Places  # 1 for the first bit, 0 for the one before
    sent: npt.NDArray[np.uint8]
    noise: Floats
    after: Places  # what the comparator says


def _moments(link: CanLink, waveform: Waveform, bits: Places, level: npt.NDArray[np.uint8], state: int) -> _Moments:
    """Follow the comparator through the moments of neighbouring bits; the sample instants stand last."""
    starts = bits / link.bit_rate
    low = max(0, int(np.ceil((starts[0] - waveform.start_s) * waveform.rate_hz)))
    high = int(np.floor(((bits[-1] + 1) / link.bit_rate - waveform.start_s) * waveform.rate_hz))
    grid = waveform.start_s + np.arange(low, min(high + 1, waveform.volts.size)) / waveform.rate_hz
    samples = (bits + link.sample_point) / link.bit_rate
    # Every bit begins twice: still at the level before, then at its own. A stable sort keeps them in that order.
    times = np.concatenate([starts, starts, grid, samples])
    own = np.clip(np.searchsorted(starts, grid, side="right"), 1, bits.size)
    place = np.concatenate([np.arange(bits.size), np.arange(1, bits.size + 1), own, np.arange(1, bits.size + 1)])
    order = np.argsort(times, kind="stable")
    noise = waveform.at(times)
    sent = level[place]
    total = noise + np.where(sent == 0, link.dominant_volts, 0.0)
    decided = np.where(total >= link.upper_volts, 0, np.where(total <= link.lower_volts, 1, -1))[order]
    latest = np.maximum.accumulate(np.where(decided >= 0, np.arange(decided.size), -1))
    said = np.where(latest >= 0, decided[latest], state)
    after = np.empty(times.size, np.int64)
    after[order] = said
    return _Moments(times, order, place, sent, noise, after)


def comparator_states(
    link: CanLink, waveform: Waveform, first_bit: int, stop_bit: int, level_at: LevelAt
) -> tuple[Floats, Places]:
    """Return every moment at which the comparator may change, in order, and what it says from then on.

    Args:
        link: thresholds, levels and bit rate.
        waveform: the disturbance.
        first_bit: first bit to follow.
        stop_bit: one past the last.
        level_at: tells the sent levels of bits.
    """
    bits = np.arange(first_bit, stop_bit)
    level = np.asarray(level_at(np.concatenate([[first_bit - 1], bits])), np.uint8)
    found = _moments(link, waveform, bits, level, int(level[0]))
    return found.times[found.order], found.after[found.order]
