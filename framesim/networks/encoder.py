"""The one encoder: it walks a layout and sends each field through its line code."""

from collections.abc import Iterable
from itertools import chain
from typing import Any

from bitarray import bitarray, frozenbitarray

from framesim.errors import BadArgument
from framesim.linecoding.coding import PLAIN, Encoder, Sent
from framesim.networks.layout import Field
from framesim.networks.network import Network
from framesim.networks.view import Piece, View
from framesim.wire import Span, WireFrame, bits_of

__all__ = ["encode_with"]


def field_bits(field: Field, frame: Any, view: View) -> tuple[bitarray, int | bytes]:
    """Return the bits of ``field`` in wire order, and its value."""
    if field.level is not None:
        value: int | bytes = field.level
    elif field.source is not None:
        value = field.source(frame)
    else:
        assert field.guard is not None  # a Field cannot exist without one of the three
        value = field.guard.expected(view)
    if isinstance(value, bytes) and field.nibbles:
        return sum((bits_of(nibble, 4) for nibble in value), bitarray()), value
    if isinstance(value, bytes):
        bits = bitarray(endian="little" if field.lsb_first else "big")
        bits.frombytes(value)
        return bitarray(bits.to01()), value
    bits = bits_of(value, field.width_given(view.values))
    return (bits[::-1] if field.lsb_first else bits), value


def encode_with(network: Network, frame: Any) -> WireFrame:
    """Put ``frame`` on the wire.

    Raises:
        BadArgument: a value does not fit its field, which means that the frame type let it through.
    """
    layout = network.layout
    view = View()
    laid: list[tuple[Field, int, int]] = []
    inserted: list[int] = []
    coder: Encoder | None = None

    wire = view.wire

    def send(sent: Iterable[Sent]) -> None:
        for bit, added in sent:
            if added:
                inserted.append(len(wire))
            wire.append(bit)

    index: int | None = 0
    while index is not None:
        field = layout.fields[index]
        if coder is None:
            coder = field.coding.encoder(view.wire[-1] if view.wire else layout.idle)
        start = len(view.wire)
        bits, value = field_bits(field, frame, view)
        width = field.width_given(view.values)
        if width >= 0 and width != len(bits):
            raise BadArgument(f"{field.name}: holds {len(bits)} bits, must be {width} ({field.clause})")
        if field.coding is PLAIN:
            wire.extend(bits)
        else:
            send(chain.from_iterable(map(coder.push, bits)))
        view.values[field.name] = value
        following = layout.following(index, view.values)
        region_ends = following is None or layout.fields[following].coding is not field.coding
        send(coder.settle(last=region_ends))
        view.pieces[field.name] = Piece(bits, start, len(view.wire))
        laid.append((field, start, len(view.wire)))
        if region_ends:
            coder = None
        index = following
    return WireFrame(
        bits=frozenbitarray(view.wire),
        # Named last: what a field is called may depend on one that follows it.
        spans=tuple(Span(field.span_name(view.values), start, stop) for field, start, stop in laid),
        inserted=tuple(inserted),
        network=network.name,
        frame=frame,
        fields=tuple(field.name for field, _, _ in laid),
    )
