"""FlexRay: header CRC, frame CRC and fixed bits together.

A receiver that keeps in step with the byte starts and reads the sent length takes a pattern of flips for a valid frame if
three things hold: no fixed bit is hit (but the transmission start sequence may be shortened from its front), the bits
that the header CRC guards are hit by one of its code words, and all of header, payload and frame CRC by a word of the
frame CRC. These patterns are counted exactly. What is left is only bounded:

* a changed length passes the header CRC (six flips at least), and then the frame ends where a byte start stands, or a
  byte starts where the frame ends (two more flips at least): the chance of both, the frame CRC left out of account;
* a receiver out of step meets a wrong byte start in nearly every byte: the chance that it passes eight of them and the
  header CRC, the frame CRC left out of account, follows from its states.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from math import fsum
from typing import Any

import numpy as np
from bitarray import bitarray
from numpy.typing import NDArray

from framesim.codes import crc
from framesim.codes.syndromes import syndromes
from framesim.coverage.linear.answer import FrameResidual, bit_error_ratio_of
from framesim.coverage.linear.flow import Register, channel_of, follow, speaks
from framesim.coverage.linear.framing import Framing, Output, framing, nothing, without_guards
from framesim.coverage.linear.mixed import Mixed, mixed, precisely
from framesim.disturbance.scatter import Scatter
from framesim.errors import check_range
from framesim.networks.layout import Layout
from framesim.networks.network import Network
from framesim.networks.registry import configured, network
from framesim.networks.view import View
from framesim.wire import WireFrame, bits_of
from framesim.words import Check

__all__ = ["flexray_patterns", "flexray_residual"]

LENGTH = "payload length"
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
    ratio = bit_error_ratio_of(channel, "flexray")
    words = _words_of(sent)
    low = precisely(lambda p: words.probability(p), ratio)
    beyond = fsum([_changed_length(sent, ratio), _out_of_step(sent, ratio)])
    return FrameResidual(
        network=sent.network,
        low=low,
        high=low + beyond,
        method="bounded" if beyond else "exact",
        basis=BASIS,
        patterns=flexray_patterns(sent, most_flips) if most_flips else None,
    )


def flexray_patterns(sent: WireFrame, most_flips: int) -> dict[int, int]:
    """Return the undetected patterns by flips of receivers in step that read the sent length; exact.

    Flips after the frame became valid do not count. Patterns that change the length have eight flips or more, receivers
    out of step nine or more: up to seven flips the numbers are complete.
    """
    return dict(enumerate(_words_of(sent).weights(most_flips)[1:], start=1))


@dataclass(frozen=True, kw_only=True)
class _Words:
    """Patterns of flips that a receiver in step takes for a valid frame of the sent length.

    Attributes:
        passing: all that pass, the empty one among them.
        same: those among them that leave the content as it was.
        same_fixed: bits outside ``same`` that must not be hit.
        fixed: bits that must not be hit in any case.
        shortened: how many bits of the start sequence may be lost from its front.
    """

    passing: Mixed
    same: "Mixed | _Few"
    same_fixed: int
    fixed: int
    shortened: int

    def weights(self, up_to: int) -> list[int]:
        """Return the number of undetected patterns with 0..up_to flips."""
        inner = [a - b for a, b in zip(self.passing.weights(up_to), self.same.weights(up_to), strict=True)]
        return [sum(inner[max(0, flips - self.shortened) : flips + 1]) for flips in range(up_to + 1)]

    def probability(self, p: Any) -> Any:
        """Return P(undetected) in the working precision."""
        start = sum(p**lost * (1 - p) ** (self.shortened + 1 - lost) for lost in range(self.shortened + 1))
        inner = self.passing.probability(p) - self.same.probability(p) * (1 - p) ** self.same_fixed
        return inner * start * (1 - p) ** self.fixed


@dataclass(frozen=True, kw_only=True)
class _Few:
    """A handful of words, by weight, among ``n`` bits."""

    n: int
    words: tuple[int, ...]

    def weights(self, up_to: int) -> list[int]:
        """Return the number of words of weight 0..up_to."""
        return [self.words.count(weight) for weight in range(up_to + 1)]

    def probability(self, p: Any) -> Any:
        """Return the sum over all words of p^weight · (1 - p)^(bits - weight)."""
        return sum(p**weight * (1 - p) ** (self.n - weight) for weight in self.words)


def _words_of(sent: WireFrame) -> _Words:
    frame = sent.frame
    return _words(network(sent.network), frame if frame.null else replace(frame, payload=bytes(len(frame.payload))))


@lru_cache(maxsize=16)
def _words(named: Network, frame: Any) -> _Words:
    """Count the patterns. Which bytes stand in the payload makes no difference."""
    found = configured(named, frame)
    layout = found.layout
    places, n_bits = _places(layout, len(frame.payload))
    outer = crc(_code_of(layout, "frame CRC"))
    flips = syndromes(outer.generator, n_bits)[::-1]  # by place: the first bit has the highest power
    header = _code_of(layout, "header CRC")
    guarded = [place for name in _guarded(layout) for place in places[name]]
    listed_places = [*guarded, *places["header CRC"]]
    values = _values(layout, frame)
    listed = []
    for pattern in _header_words(crc(header).generator, len(guarded), len(places[LENGTH])):
        hit = [place for place, bit in zip(listed_places, pattern, strict=True) if bit]
        if _allowed(layout, values, places, hit):
            listed.append((len(hit), int(np.bitwise_xor.reduce(flips[hit])) if hit else 0))
    others = [place for name, row in places.items() for place in row if place not in set(listed_places)]
    free = [place for place in others if _allowed(layout, values, places, [place])]
    passing = mixed(flips[free], outer.width, listed, len(listed_places))
    unread = {field.name for field in layout.fields if not field.carries}
    blank = {"payload"} if frame.null else set()  # what stands in a null frame is not looked at
    loose = [place for place in free if _field_at(places, place) in (unread | blank)]
    same: Mixed | _Few
    if frame.null and frame.payload:
        same = mixed(flips[loose], outer.width, [(0, 0)], 0)
    else:
        (reserved,) = [place for place in loose if place not in places["frame CRC"]]
        same = _Few(n=len(loose), words=(0, 1 + int(flips[reserved]).bit_count()))
    wire_fixed = 1 + 2 * (n_bits // 8) + 2  # FSS, byte starts, FES
    return _Words(
        passing=passing,
        same=same,
        same_fixed=len(free) + len(listed_places) - len(loose),
        fixed=wire_fixed + len(others) - len(free),
        shortened=layout.fields[0].width_given({}) - 1,
    )


def _field_at(places: Mapping[str, range], place: int) -> str:
    return next(name for name, row in places.items() if place in row)


def _code_of(layout: Layout, name: str) -> str:
    guard = layout.fields[layout.place[name]].guard
    assert guard is not None  # both CRC fields of the layout have one
    assert guard.code is not None
    return guard.code


def _guarded(layout: Layout) -> tuple[str, ...]:
    guard = layout.fields[layout.place["header CRC"]].guard
    assert guard is not None
    return guard.covers


def _places(layout: Layout, payload_bytes: int) -> tuple[dict[str, range], int]:
    """Return where each field's bits stand in the word that the frame CRC closes, and how long the word is."""
    values = {LENGTH: payload_bytes // 2}
    guard = layout.fields[layout.place["frame CRC"]].guard
    assert guard is not None
    places: dict[str, range] = {}
    reached = 0
    for name in (*guard.covers, "frame CRC"):
        width = layout.fields[layout.place[name]].width_given(values)
        places[name] = range(reached, reached + width)
        reached += width
    return places, reached


def _values(layout: Layout, frame: Any) -> dict[str, int]:
    """Return the values that rules look at, as sent."""
    return {
        field.name: int(field.source(frame))
        for field in layout.fields
        if field.source is not None and not field.octets
    }


def _allowed(layout: Layout, values: Mapping[str, int], places: Mapping[str, range], hit: list[int]) -> bool:
    """Tell whether the rules hold after flips at ``hit``.

    Rules look either at the guarded header bits or at one other bit, so the two can be asked apart.
    """
    view = View()
    view.values.update(values)
    for name in values:
        row = places[name]
        flipped = sum(1 << row.stop - 1 - place for place in hit if place in row)
        view.values[name] = values[name] ^ flipped
    return all(rule.holds(view) for rule in layout.rules)


def _header_words(generator: int, guarded: int, length_bits: int) -> NDArray[np.uint8]:
    """Return the header CRC's words with no flip among the last ``length_bits`` guarded bits, one a row."""
    width = generator.bit_length() - 1
    row = syndromes(generator, guarded + width)[::-1]
    words = np.zeros((1, guarded + width), np.uint8)
    for place in range(guarded - length_bits):
        single = np.zeros(guarded + width, np.uint8)
        single[place] = 1
        single[guarded:] = np.frombuffer(bits_of(int(row[place]), width).unpack(), np.uint8)
        words = np.concatenate([words, words ^ single])
    return words


@lru_cache(maxsize=4)
def _header_counts(generator: int, guarded: int, length_bits: int) -> NDArray[np.int64]:
    """Return the number of the header CRC's words by flips in the length (as a number) and by weight."""
    words = _header_words(generator, guarded, 0)
    powers = 1 << np.arange(length_bits)[::-1]
    flipped = words[:, guarded - length_bits : guarded] @ powers
    counts = np.zeros((1 << length_bits, words.shape[1] + 1), np.int64)
    np.add.at(counts, (flipped, words.sum(axis=1)), 1)
    return counts


def _changed_length(sent: WireFrame, ratio: float) -> float:
    """Return the chance that the header passes with a changed length and every fixed bit of such a frame is in place."""
    layout = configured(network(sent.network), sent.frame).layout
    guarded = sum(layout.fields[layout.place[name]].width_given({}) for name in _guarded(layout))
    length_bits = layout.fields[layout.place[LENGTH]].width_given({})
    counts = _header_counts(crc(_code_of(layout, "header CRC")).generator, guarded, length_bits)
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
    code = crc(_code_of(layout, "header CRC"))
    fed = {*_guarded(layout), "header CRC"}
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
