"""One question to a codec, and how it was made, so that it can be made simpler."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from bitarray import bitarray

from framesim.networks.encoder import encode_with
from framesim.networks.registry import configured
from framesim.networks.registry import network as network_called
from framesim.wire import WireFrame

__all__ = ["Case", "Recipe", "decode_case", "encode_case", "sent_by", "wire_case"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """How the wire of a case was made from a frame.

    Attributes:
        frame: the frame that was sent.
        flips: wire bits of it that were inverted, ascending.
        keep: how many bits are left, if it was cut short; None: all.
        lead: resting bits before it.
        tail: bits after it, as text.
    """

    frame: Any
    flips: tuple[int, ...] = ()
    keep: int | None = None
    lead: int = 0
    tail: str = ""

    @property
    def plain(self) -> bool:
        """Whether the wire is exactly what a sender puts out."""
        return not (self.flips or self.lead or self.tail) and self.keep is None


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One question.

    Attributes:
        mode: ``"decode"`` or ``"encode"``.
        network: name of the network, or of one configuration of it.
        bits: decode: what the receiver sees, 0 and 1 as text, wire order.
        recipe: how the wire was made; encode: its frame alone is what is to be sent; None: the wire was made by hand.
        origin: where the case comes from, in words.
    """

    mode: str
    network: str
    bits: str = ""
    recipe: Recipe | None = None
    origin: str = ""

    @property
    def frame(self) -> Any:
        """The frame that was sent, or is to be sent; None if no frame was."""
        return None if self.recipe is None else self.recipe.frame

    @property
    def plain(self) -> bool:
        """Whether this is a frame as a sender puts it out."""
        return self.recipe is not None and self.recipe.plain


class _Same:
    """A frame as a key: itself, not its equals, for frames may be equal and yet be sent differently."""

    __slots__ = ("frame",)

    def __init__(self, frame: Any) -> None:
        self.frame = frame

    def __hash__(self) -> int:
        return id(self.frame)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.frame is self.frame


def sent_by(network: str, frame: Any) -> WireFrame:
    """Return ``frame`` on the wire of this network, configured as the frame's receivers are."""
    return _sent(network, _Same(frame))


@lru_cache(maxsize=2048)
def _sent(network: str, key: _Same) -> WireFrame:
    return encode_with(configured(network_called(network), key.frame), key.frame)


def decode_case(network: str, recipe: Recipe, *, sent: WireFrame | None = None, origin: str = "") -> Case:
    """Return the question what the wire of ``recipe`` says.

    Args:
        network: the receiver's.
        recipe: how the wire is made; its flips lie within the frame.
        sent: the frame on the wire, if it is at hand.
        origin: where the case comes from.
    """
    whole = sent or sent_by(network, recipe.frame)
    bits = bitarray(whole.bits)
    for flip in recipe.flips:
        bits.invert(flip)
    wire = bits.to01()
    if recipe.keep is not None:
        wire = wire[: recipe.keep]
    if recipe.lead:
        wire = str(network_called(network).layout.idle) * recipe.lead + wire
    return Case(mode="decode", network=network, bits=wire + recipe.tail, recipe=recipe, origin=origin)


def wire_case(network: str, bits: str, *, origin: str = "") -> Case:
    """Return the question what ``bits``, made by hand, say."""
    return Case(mode="decode", network=network, bits=bits, origin=origin)


def encode_case(network: str, frame: Any, *, origin: str = "") -> Case:
    """Return the question how ``frame`` is sent."""
    return Case(mode="encode", network=network, recipe=Recipe(frame=frame), origin=origin)
