"""FlexRay: header CRC, frame CRC and fixed bits together.

A receiver that keeps in step with the byte starts and reads the sent length takes a pattern of flips for a valid
frame if three things hold: no fixed bit is hit (but the transmission start sequence may be shortened from its
front), the bits that the header CRC guards are hit by one of its code words, and all of header, payload and frame
CRC by a word of the frame CRC. These patterns are counted exactly. What is left is only bounded:

* a changed length passes the header CRC (six flips at least), and then the frame ends where a byte start stands,
  or a byte starts where the frame ends (two more flips at least): the chance of both, the frame CRC left out of
  account;
* a receiver out of step meets a wrong byte start in nearly every byte: the chance that it passes eight of them and
  the header CRC, the frame CRC left out of account, follows from its states.
"""

from dataclasses import replace
from functools import lru_cache
from math import fsum
from typing import Any

import numpy as np
from bitarray import bitarray
from numpy.typing import NDArray

from framesim.codes import crc
from framesim.coverage.linear.answer import EXACT, FrameResidual, bit_error_ratio_of
from framesim.coverage.linear.flexray_words import LENGTH, code_of, guarded_fields, header_words, words_of
from framesim.coverage.linear.flow import Register, channel_of, follow, speaks
from framesim.coverage.linear.framing import Framing, Output, framing, nothing, without_guards
from framesim.coverage.linear.mixed import precisely
from framesim.disturbance.scatter import Scatter
from framesim.errors import check_range
from framesim.networks.layout import Layout
from framesim.networks.network import Network
from framesim.networks.registry import configured, network
from framesim.wire import WireFrame
from framesim.words import Check

__all__ = ["flexray_patterns", "flexray_residual"]

LEAST_BYTES = 8  # header and frame CRC of a frame without payload
REST_BITS = 40
BASIS = (
    "exact where the receiver keeps in step and reads the sent length: words of header CRC and frame CRC together; "
    "patterns that change the length, and receivers out of step, are only bounded (in high)"
)


def flexray_residual(sent: WireFrame, channel: Any, *, most_flips: int = 8) -> FrameResidual:
    """Return the residual error probability of a FlexRay frame; all but exact, see ``basis``.

    Args:
        sent: the frame.
        channel: ``Scatter``.
        most_flips: up to how many flips undetected patterns are counted (in step, length unchanged); 0: not at all.

    Raises:
        BadArgument: ``most_flips`` out of range.
        NotFeasible: flips on this channel depend on each other.
    """
    check_range("most_flips", most_flips, 0, 24, base="d")
    ratio = bit_error_ratio_of(channel, sent)
    words = words_of(sent)
    low = precisely(words.probability, ratio)
    beyond = fsum([_changed_length(sent, ratio), _out_of_step(sent, ratio)])
    return FrameResidual(
        network=sent.network,
        low=low,
        high=low + beyond,
        method="bounded" if beyond > EXACT * low else "exact",
        basis=BASIS,
        patterns=flexray_patterns(sent, most_flips) if most_flips else None,
    )


def flexray_patterns(sent: WireFrame, most_flips: int) -> dict[int, int]:
    """Return the undetected patterns by flips of receivers in step that read the sent length; exact.

    Flips after the frame became valid do not count. Patterns that change the length have eight flips or more, receivers
    out of step nine or more: up to seven flips the numbers are complete.
    """
    return dict(enumerate(words_of(sent).weights(most_flips)[1:], start=1))


@lru_cache(maxsize=4)
def _header_counts(generator: int, guarded: int, length_bits: int) -> NDArray[np.int64]:
    """Return the number of the header CRC's words by flips in the length (as a number) and by weight."""
    words = header_words(generator, guarded, 0)
    powers = 1 << np.arange(length_bits)[::-1]
    flipped = words[:, guarded - length_bits : guarded] @ powers
    counts = np.zeros((1 << length_bits, words.shape[1] + 1), np.int64)
    np.add.at(counts, (flipped, words.sum(axis=1)), 1)
    return counts


def _changed_length(sent: WireFrame, ratio: float) -> float:
    """Return the chance that the header passes with a changed length and all fixed bits of such a frame are right."""
    layout = configured(network(sent.network), sent.frame).layout
    guarded = sum(layout.fields[layout.place[name]].width_given({}) for name in guarded_fields(layout))
    length_bits = layout.fields[layout.place[LENGTH]].width_given({})
    counts = _header_counts(crc(code_of(layout, "header CRC")).generator, guarded, length_bits)
    n = counts.shape[1] - 1
    by_weight = np.array([ratio**weight * (1 - ratio) ** (n - weight) for weight in range(n + 1)])
    own = len(sent.frame.payload) // 2
    return fsum(
        float(counts[own ^ other] @ by_weight) * _in_order(sent, LEAST_BYTES + 2 * other, ratio)
        for other in range(1 << length_bits)
        if other != own
    )


def _in_order(sent: WireFrame, n_bytes: int, ratio: float) -> float:
    """Return the chance that byte starts and frame end stand where a frame of ``n_bytes`` bytes has them."""
    first = sent.spans[2].start  # after TSS and FSS
    wire = sent.bits + bitarray([1]) * max(0, first + 10 * n_bytes + 2 - len(sent.bits))
    seen = sum((wire[first + 10 * byte : first + 10 * byte + 2] for byte in range(n_bytes)), bitarray())
    seen += wire[first + 10 * n_bytes : first + 10 * n_bytes + 2]
    hit = (seen ^ bitarray("10" * n_bytes + "01")).count()
    return float(ratio**hit * (1 - ratio) ** (len(seen) - hit))


def _out_of_step(sent: WireFrame, ratio: float) -> float:
    """Return the chance that a receiver out of step passes header CRC and byte starts of the shortest frame."""
    found = configured(network(sent.network), sent.frame)
    states = _states(found)
    in_step = len(states.walk(sent.bits)[1])
    # Whoever is still at it so long after that counts as passed.
    bits = sent.bits[: in_step + REST_BITS]
    rest = in_step + REST_BITS - len(bits)
    channel = channel_of(Scatter(bit_error_ratio=ratio), "flexray")
    ends = follow(states, bits, channel, register=_header_register(found.layout), rest_bits=rest)
    by_end = ends.accepted.sum(axis=(1, 2))
    waiting = 0.0 if rest else ends.unseen
    return fsum([*by_end[:in_step].tolist(), *by_end[in_step + 1 :].tolist(), ends.undecided, waiting])


def _header_register(layout: Layout) -> Register:
    """Return the header CRC's register; it speaks unless it ends at zero."""
    code = crc(code_of(layout, "header CRC"))
    fed = {*guarded_fields(layout), "header CRC"}
    values = np.arange(1 << code.width, dtype=np.int32)
    shifted = [np.array([code.register_after([bit], start=int(value)) for value in values]) for bit in (0, 1)]
    judged = np.where(values == code.residue, values, speaks(Check.HEADER_CRC))

    def after(output: Output) -> NDArray[np.int32] | None:
        if output.kept_in not in fed:
            return None
        moved = shifted[output.bits[0]]
        return (judged[moved] if "header CRC" in output.ended else moved).astype(np.int32)

    return Register(n_values=len(values), first=code.initial, after=after)


@lru_cache(maxsize=8)
def _states(found: Network) -> Framing:
    """Return the states of a receiver that takes any eight bytes for a frame."""
    bare = without_guards(found.layout)
    kept = tuple(field for field in bare.fields if field.name != "payload")
    short = replace(bare, fields=kept, accept_after="frame CRC")
    return framing(replace(found, layout=short), relevant=nothing)
