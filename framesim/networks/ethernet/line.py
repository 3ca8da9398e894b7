"""100BASE-T1: the frame as ternary symbols, and the receiver that turns them back into bits.

Source: IEEE 802.3bw-2015 clause 96.3, physical coding sublayer; symbol rate and time were read, the pair table, the
delimiters, the scrambler and the order of bits are from memory. Idle symbols and training are not modelled: a link
that is up is quiet here between frames.

- The bits go into groups of three, first bit least significant; each is scrambled and sent as a pair of symbols.
- Three pairs (0, 0) take the place of the first nine bits of the preamble: the start of stream (SSD).
- (0, 0) (0, 0) (1, 1) end it (ESD); a sender that failed in between sends (-1, -1) last.
- The last group is filled up with zeros; the receiver drops what does not fill a nibble.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from bitarray import bitarray

from framesim.errors import BadArgument
from framesim.linecoding.side_stream import SideStream
from framesim.linecoding.ternary_pairs import NO_DATA, PAIRS
from framesim.networks.encoder import encode_with
from framesim.networks.ethernet.format import ETHERNET
from framesim.networks.ethernet.frame import EthernetFrame
from framesim.wire import Span, WireFrame

__all__ = ["SSD_BITS", "SYMBOL_RATE", "TernaryFrame", "encode_symbols"]

SYMBOL_RATE = 200_000_000 / 3  #: symbols per second, one every 15 ns
SSD_BITS = 9  #: bits of the preamble that the SSD stands for
SEED = 0x1_5A5A_1234  #: any but 0: where the two ends' scramblers happen to stand


@dataclass(frozen=True, slots=True, kw_only=True)
class TernaryFrame:
    """A frame as its sender puts it on the pair of wires.

    Attributes:
        symbols: -1, 0 or 1 each, in the order in which they are sent.
        spans: the fields, counted in symbols; a pair belongs to the field of its first bit.
        seed: where the scrambler stood before the first pair.
        slave: the sender is the link's slave.
        bits: the frame as bits, before the line.
    """

    symbols: tuple[int, ...]
    spans: tuple[Span, ...]
    seed: int
    slave: bool
    bits: WireFrame

    @property
    def frame(self) -> Any:
        """The frame that was encoded."""
        return self.bits.frame

    def __len__(self) -> int:
        return len(self.symbols)

    def disturbed(self, changes: Mapping[int, int]) -> tuple[int, ...]:
        """Return the symbols as seen after those at the given places were read as others.

        Raises:
            BadArgument: a place outside the frame, or a value other than -1, 0 and 1.
        """
        seen = list(self.symbols)
        for place, symbol in changes.items():
            if not 0 <= place < len(seen):
                raise BadArgument(f"place={place}: must lie in 0..{len(seen) - 1}, the symbols of this frame")
            if symbol not in (-1, 0, 1):
                raise BadArgument(f"symbol={symbol!r}: must be -1, 0 or 1")
            seen[place] = symbol
        return tuple(seen)

    def span_at(self, place: int) -> Span:
        """Return the field that the symbol at ``place`` belongs to.

        Raises:
            BadArgument: the place lies outside the frame.
        """
        for span in self.spans:
            if span.start <= place < span.stop:
                return span
        raise BadArgument(f"place={place}: must lie in 0..{len(self) - 1}")


def encode_symbols(frame: EthernetFrame, *, seed: int = SEED, slave: bool = False) -> TernaryFrame:
    """Put ``frame`` on a pair of wires.

    Args:
        frame: the frame.
        seed: the scrambler's last 33 bits; not 0.
        slave: the sender is the link's slave, which scrambles by another polynomial.

    Raises:
        BadArgument: it is no Ethernet frame, or the seed is out of range.
    """
    if not isinstance(frame, EthernetFrame):
        raise BadArgument(f"frame={frame!r}: expected an EthernetFrame")
    scrambler = SideStream(seed=seed, slave=slave)
    sent = encode_with(ETHERNET, frame)
    symbols: list[int] = []
    for _ in range(SSD_BITS // 3):
        scrambler.next()
        symbols += NO_DATA
    for group in groups_of(sent.bits[SSD_BITS:]):
        symbols += PAIRS[group ^ scrambler.next()]
    symbols += (*NO_DATA, *NO_DATA, 1, 1)
    return TernaryFrame(symbols=tuple(symbols), spans=_spans(sent, len(symbols)), seed=seed, slave=slave, bits=sent)


def groups_of(bits: bitarray) -> Iterable[int]:
    """Yield ``bits`` three at a time, first bit least significant, the last group filled up with zeros."""
    filled = bitarray(bits)
    filled.extend([0] * (-len(filled) % 3))
    first, second, third = (filled[offset::3].tolist() for offset in range(3))
    return (one | two << 1 | three << 2 for one, two, three in zip(first, second, third, strict=True))


def _spans(sent: WireFrame, n_symbols: int) -> tuple[Span, ...]:
    """Return the fields in symbols: SSD, the frame's own, ESD."""
    spans = [Span("SSD", 0, 6)]
    for span in sent.spans:
        # The pair of a bit starts at its group's first bit; a group belongs to the field of that bit.
        stop = 6 + 2 * -((SSD_BITS - span.stop) // 3)
        if stop > spans[-1].stop:
            spans.append(Span(span.name, spans[-1].stop, stop))
    return (*spans, Span("ESD", n_symbols - 6, n_symbols))
