"""LIN: header and response of one frame, with the classic and the enhanced checksum.

How long a response is and which checksum it bears is not on the wire: every node knows it from the description of
the cluster. So there are two kinds of receiver here. ``network_for`` gives one that knows the description, as every
node of a real cluster does; ``LIN`` listens without one, takes what comes until the wire falls silent, and accepts
either checksum, which makes it the weaker of the two.

Sources: LIN Specification Package 2.1 (2006), protocol specification; ISO 17987-3:2016. Clause numbers are those of
LIN 2.1 and, like lengths and limits, from memory; that the enhanced sum covers the protected identifier, and that
identifiers 60 to 63 always bear the classic one, was read.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from framesim.codes import lin_checksum, lin_parity
from framesim.errors import BadArgument, check_range
from framesim.linecoding.start_stop import START_STOP, LevelRun
from framesim.networks.layout import UNTOLD, Field, Guard, Layout, Limit, Rule
from framesim.networks.network import Network
from framesim.networks.view import View
from framesim.words import Check

__all__ = ["CHECKSUMS", "LIN", "LinFrame", "network_for"]

CHECKSUMS = ("classic", "enhanced")
FIRST_CLASSIC = 60  # identifiers from here on always bear the classic checksum (LIN 2.1 2.3.1.5)
LONGEST = 8  # bytes in a response (LIN 2.1 2.3.1.4)

BREAK_SENT, BREAK_TAKEN = 13, 11  # dominant bits that are sent, and that a receiver takes for a break
HEADER_MOST = 34 * 14 // 10  # whole bit times; 34 = 13 + 1 + 10 + 10, and 40 % more (LIN 2.1 2.3.2)


def response_most(length: int) -> int:
    """Return the most bit times that a response of ``length`` bytes may last: 40 % more than without pauses."""
    return 14 * (length + 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class LinFrame:
    """A LIN frame as fields.

    Attributes:
        identifier: 0..63.
        payload: 1..8 bytes, first byte sent first.
        checksum: ``"enhanced"`` (protected identifier and data) or ``"classic"`` (data only). Identifiers 60..63
            always bear the classic checksum, so for them it becomes ``"classic"`` whatever is asked for.

    Raises:
        BadArgument: a value out of range, or no such checksum.
    """

    identifier: int
    payload: bytes
    checksum: str = "enhanced"

    def __post_init__(self) -> None:
        check_range("identifier", self.identifier, 0, 0x3F, clause="LIN 2.1 2.3.1.3")
        if not isinstance(self.payload, bytes):
            raise BadArgument(f"payload={self.payload!r}: expected bytes")
        check_range("len(payload)", len(self.payload), 1, LONGEST, base="d", clause="LIN 2.1 2.3.1.4")
        check_checksum("checksum", self.checksum)
        if self.identifier >= FIRST_CLASSIC:
            object.__setattr__(self, "checksum", "classic")


def check_checksum(name: str, value: object) -> None:
    """Raise BadArgument unless ``value`` is one of ``CHECKSUMS``."""
    if value not in CHECKSUMS:
        raise BadArgument(f"{name}={value!r}: must be 'classic' or 'enhanced' (LIN 2.1 2.3.1.5)")


def checksum_of(view: View, kind: str) -> int:
    """Return the checksum of the data; the enhanced one begins with the identifier byte as it was read."""
    protected = view.values["identifier"] | view.values["parity"] << 6
    return lin_checksum(view.values["data"], protected if kind == "enhanced" else None)


def parity_bits(view: View) -> int:
    """Return P1 and P0 as a number; P0 is sent first."""
    p0, p1 = lin_parity(view.values["identifier"])
    return p0 | p1 << 1


def layout(
    *,
    width: int | Callable[[Mapping[str, Any]], int],
    checksum: Guard,
    most: Callable[[Mapping[str, Any]], int],
    rules: tuple[Rule, ...],
) -> Layout:
    """Return the format, given what a receiver knows of responses: width, checksum and time."""
    return Layout(
        rules=rules,
        limits=(
            Limit(check=Check.TIMING, first="break", last="parity", most=lambda values: HEADER_MOST,
                  clause="2.3.2 frame length: header"),
            Limit(check=Check.TIMING, first="data", last="checksum", most=most,
                  clause="2.3.2 frame length: response"),
        ),
        fields=(
            Field(name="break", width=BREAK_SENT, level=0, elastic=True, clause="2.3.1.1 break field",
                  coding=LevelRun(level=0, least=BREAK_TAKEN),
                  about="longer low than any byte can be; sent 13 bits long, a receiver takes 11 or more"),
            Field(name="break delimiter", width=1, level=1, elastic=True, clause="2.3.1.1 break field",
                  coding=LevelRun(level=1, least=1),
                  about="at least one high bit, so that the sync byte can begin with an edge"),
            Field(name="sync", width=8, level=0x55, lsb_first=True, coding=START_STOP, check=Check.LINE_CODE,
                  clause="2.3.1.2 sync byte field",
                  about="0x55: five falling edges two bits apart, by which a node measures the bit time"),
            Field(name="identifier", width=6, lsb_first=True, coding=START_STOP, steers=True, carries="identifier",
                  clause="2.3.1.3 protected identifier field", source=lambda frame: frame.identifier,
                  about="names the frame: who answers, how long the response is, which checksum it bears"),
            Field(name="parity", width=2, lsb_first=True, coding=START_STOP,
                  clause="2.3.1.3 protected identifier field",
                  guard=Guard(check=Check.PARITY, expected=parity_bits, covers=("identifier",)),
                  about="P0 = ID0⊕ID1⊕ID2⊕ID4, then P1 = ¬(ID1⊕ID3⊕ID4⊕ID5)"),
            Field(name="data", width=width, lsb_first=True, octets=True, coding=START_STOP, carries="payload",
                  clause="2.3.1.4 data", source=lambda frame: frame.payload,
                  about="one to eight bytes; each byte's least significant bit first"),
            Field(name="checksum", width=8, lsb_first=True, coding=START_STOP, guard=checksum,
                  clause="2.3.1.5 checksum",
                  about="inverted sum with carry, over the data (classic) or identifier byte and data (enhanced)"),
        ),
    )  # fmt: skip


def network(found: Layout, checksum: Callable[[Mapping[str, Any]], str]) -> Network:
    """Return the network of one layout; ``checksum`` names the kind that an accepted frame bore."""
    return Network(
        name="lin",
        title="LIN",
        standard="ISO 17987-3",
        frame_type=LinFrame,
        layout=found,
        assemble=lambda values: LinFrame(
            identifier=values["identifier"], payload=values["data"], checksum=checksum(values)
        ),
        monitors=True,
        rest_bits=response_most(LONGEST) + 1,
        configured_for=lambda frame: _alike(len(frame.payload), frame.checksum),
    )


def network_for(responses: Mapping[int, tuple[int, str]]) -> Network:
    r"""Return LIN with receivers that know the description of their cluster.

    A frame whose identifier the description does not list is left alone, as a node does: nothing is said.

    Args:
        responses: identifier → how many data bytes its response has, and its checksum.

    Raises:
        BadArgument: an identifier, a length or a checksum that LIN does not have, or no such mapping at all.

    >>> from framesim import encode, receive
    >>> sent = encode(LinFrame(identifier=0x10, payload=b"\x01\x02"))
    >>> receive(sent.bits, network_for({0x10: (2, "enhanced")})).accepted
    True
    """
    if not isinstance(responses, Mapping):
        raise BadArgument(f"responses={responses!r}: expected a mapping, identifier to (length, checksum)")
    for identifier, response in responses.items():
        check_range("identifier", identifier, 0, 0x3F, clause="LIN 2.1 2.3.1.3")
        if not isinstance(response, tuple | list) or len(response) != 2:
            raise BadArgument(f"responses[{identifier:#x}]={response!r}: expected (length, checksum)")
        length, checksum = response
        check_range(f"responses[{identifier:#x}]", length, 1, LONGEST, base="d", clause="LIN 2.1 2.3.1.4")
        check_checksum(f"responses[{identifier:#x}]", checksum)
        if identifier >= FIRST_CLASSIC and checksum != "classic":
            raise BadArgument(f"responses[{identifier:#x}]={checksum!r}: must be 'classic' (LIN 2.1 2.3.1.5)")
    known = dict(responses)
    sums = {checksum for _, checksum in known.values()}
    return network(
        layout(
            width=lambda values: 8 * known[values["identifier"]][0],
            most=lambda values: response_most(known[values["identifier"]][0]),
            checksum=Guard(
                check=Check.CHECKSUM,
                expected=lambda view: checksum_of(view, known[view.values["identifier"]][1]),
                covers=("data",) if sums == {"classic"} else ("identifier", "parity", "data"),
            ),
            rules=(
                Rule(check=None, at_end_of="parity", clause="2.3.1.3; node description",
                     holds=lambda view: view.values["identifier"] in known),
            ),
        ),
        lambda values: known[values["identifier"]][1],
    )  # fmt: skip


@lru_cache(maxsize=2 * LONGEST)
def _alike(length: int, checksum: str) -> Network:
    """Return a cluster whose every frame has ``length`` bytes and ``checksum``.

    For a receiver this is the worst case: whatever a disturbed identifier turns into, the response fits it.
    """
    kinds = {identifier: checksum if identifier < FIRST_CLASSIC else "classic" for identifier in range(64)}
    return network_for({identifier: (length, kind) for identifier, kind in kinds.items()})


def either_checksum(view: View) -> int:
    """Return the classic sum if that is what was read, else the one that the identifier calls for.

    The two never agree: they differ by the identifier byte modulo 255, and no identifier byte is 0x00 or 0xFF.
    """
    classic = checksum_of(view, "classic")
    if view.values["identifier"] >= FIRST_CLASSIC or view.values.get("checksum") == classic:
        return classic
    return checksum_of(view, "enhanced")


LIN = network(
    layout(
        width=UNTOLD,
        most=lambda values: response_most(LONGEST),
        checksum=Guard(
            check=Check.CHECKSUM, expected=either_checksum, covers=("identifier", "parity", "data")
        ),
        rules=(
            Rule(check=Check.LENGTH, at_end_of="checksum", clause="2.3.1.4 data",
                 holds=lambda view: 1 <= len(view.values["data"]) <= LONGEST),
        ),
    ),
    lambda values: "classic" if values["checksum"] == lin_checksum(values["data"]) else "enhanced",
)  # fmt: skip
