"""One question to a codec, and how it was made, so that it can be made simpler."""

from dataclasses import dataclass
from typing import Any

from framesim.networks.encoder import encode_with
from framesim.networks.network import Network
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


def sent_by(network: str | Network, frame: Any) -> WireFrame:
    """Return ``frame`` on the wire of exactly this network or configuration."""
    found = network_called(network) if isinstance(network, str) else network
    return encode_with(found if found.configured_for is None else found.configured_for(frame), frame)


def decode_case(network: str, recipe: Recipe, *, sent: WireFrame | None = None, origin: str = "") -> Case:
    """Return the question what the wire of ``recipe`` says.

    Args:
        network: the receiver's.
        recipe: how the wire is made; its flips lie within the frame.
        sent: the frame on the wire, if it is at hand.
        origin: where the case comes from.
    """
    wire = (sent or sent_by(network, recipe.frame)).flipped(recipe.flips).to01()
    idle = str(network_called(network).layout.idle)
    bits = idle * recipe.lead + wire[: recipe.keep] + recipe.tail
    return Case(mode="decode", network=network, bits=bits, recipe=recipe, origin=origin)


def wire_case(network: str, bits: str, *, origin: str = "") -> Case:
    """Return the question what ``bits``, made by hand, say."""
    return Case(mode="decode", network=network, bits=bits, origin=origin)


def encode_case(network: str, frame: Any, *, origin: str = "") -> Case:
    """Return the question how ``frame`` is sent."""
    return Case(mode="encode", network=network, recipe=Recipe(frame=frame), origin=origin)
