"""FlexRay frames of the sent length, read in step: which patterns of flips pass both CRCs, counted exactly.

The bits that the header CRC guards can only be hit by its words, of which those that leave the length alone are
listed (2^13 of them); all other bits of header, payload and frame CRC are free. Rules about values (no frame of
number 0, no startup frame that is no sync frame, and so on) take patterns off the list, or bits out of the free
part.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.codes import crc
from framesim.codes.syndromes import syndromes
from framesim.coverage.linear.mixed import Mixed, mixed
from framesim.networks.layout import Layout
from framesim.networks.network import Network
from framesim.networks.registry import configured, network
from framesim.networks.view import View
from framesim.wire import WireFrame, bits_of

__all__ = ["LENGTH", "Words", "code_of", "guarded_fields", "header_words", "words_of"]

LENGTH = "payload length"


@dataclass(frozen=True, kw_only=True)
class Words:
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


def words_of(sent: WireFrame) -> Words:
    """Return the patterns of a FlexRay frame; what its payload says makes no difference."""
    frame = sent.frame
    return _words(network(sent.network), frame if frame.null else replace(frame, payload=bytes(len(frame.payload))))


@lru_cache(maxsize=16)
def _words(named: Network, frame: Any) -> Words:
    """Count the patterns. Which bytes stand in the payload makes no difference."""
    found = configured(named, frame)
    layout = found.layout
    places, n_bits = _places(layout, len(frame.payload))
    outer = crc(code_of(layout, "frame CRC"))
    flips = syndromes(outer.generator, n_bits)[::-1]  # by place: the first bit has the highest power
    header = code_of(layout, "header CRC")
    guarded = [place for name in guarded_fields(layout) for place in places[name]]
    listed_places = [*guarded, *places["header CRC"]]
    values = _values(layout, frame)
    listed = []
    for pattern in header_words(crc(header).generator, len(guarded), len(places[LENGTH])):
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
    return Words(
        passing=passing,
        same=same,
        same_fixed=len(free) + len(listed_places) - len(loose),
        fixed=wire_fixed + len(others) - len(free),
        shortened=layout.fields[0].width_given({}) - 1,
    )


def _field_at(places: Mapping[str, range], place: int) -> str:
    return next(name for name, row in places.items() if place in row)


def code_of(layout: Layout, name: str) -> str:
    """Return the name of the CRC in the field ``name``."""
    guard = layout.fields[layout.place[name]].guard
    assert guard is not None  # both CRC fields of the layout have one
    assert guard.code is not None
    return guard.code


def guarded_fields(layout: Layout) -> tuple[str, ...]:
    """Return the names of the fields that the header CRC guards."""
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
        field.name: int(field.source(frame)) for field in layout.fields if field.source is not None and not field.octets
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


def header_words(generator: int, guarded: int, length_bits: int) -> NDArray[np.uint8]:
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
