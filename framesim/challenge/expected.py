"""What a right codec answers: the reference's word, or for many wires at once that of its fast twin."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from bitarray import bitarray

from framesim.challenge.case import Case, Recipe, sent_by
from framesim.challenge.protocol import flat_frame
from framesim.errors import NotFeasible
from framesim.judging import receive
from framesim.linecoding.coding import PLAIN
from framesim.networks.network import Network
from framesim.networks.receiver import Reception
from framesim.networks.registry import network as network_called

if TYPE_CHECKING:
    from framesim.networks.automaton import Tables

__all__ = ["ACCEPTED", "INCOMPLETE", "REFUSED", "REJECTED", "Expected", "expected", "expected_of_many", "verdict_of"]

ACCEPTED, REJECTED, INCOMPLETE = "accepted", "rejected", "incomplete"
REFUSED = "refused"  #: rejected or incomplete, from a codec that does not tell which
WORTH_LANES = 64  # fewer wires are done sooner one by one


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """The right answer.

    Attributes:
        verdict: decode: accepted, rejected or incomplete.
        check: the first check to speak, if rejected.
        at: the wire bit at which it speaks.
        frame: the frame that is accepted.
        bits: encode: the frame on the wire, 0 and 1 as text.
    """

    verdict: str = ""
    check: str | None = None
    at: int | None = None
    frame: Any = None
    bits: str = ""

    def record(self) -> dict[str, Any]:
        """Return it as the protocol writes answers."""
        if not self.verdict:
            return {"bits": self.bits}
        if self.verdict == REJECTED:
            return {"verdict": self.verdict, "check": self.check, "at": self.at}
        return {"verdict": self.verdict, **({} if self.frame is None else flat_frame(self.frame))}


def verdict_of(reception: Reception) -> Expected:
    """Return what the reference receiver concluded as an answer."""
    if reception.accepted:
        return Expected(verdict=ACCEPTED, frame=reception.frame)
    if reception.check is None:
        return Expected(verdict=INCOMPLETE)
    return Expected(verdict=REJECTED, check=reception.check.value, at=reception.at)


def expected(case: Case) -> Expected:
    """Return the right answer to ``case``."""
    if case.mode == "encode":
        return Expected(bits=sent_by(case.network, case.frame).bits.to01())
    return verdict_of(receive(bitarray(case.bits), case.network))


def expected_of_many(cases: Sequence[Case]) -> list[Expected]:
    """Return the right answer to each case; the same as one by one, sooner where the network has tables."""
    found: list[Expected | None] = [None] * len(cases)
    by_network: dict[str, list[int]] = {}
    for place, case in enumerate(cases):
        if case.mode == "decode":
            by_network.setdefault(case.network, []).append(place)
    for name, places in by_network.items():
        network = network_called(name)
        tables = _tables(network) if len(places) >= WORTH_LANES else None
        if tables is not None:
            for place, answer in zip(places, _by_lanes(network, tables, [cases[at] for at in places]), strict=True):
                found[place] = answer
    return [known or expected(case) for known, case in zip(found, cases, strict=True)]


@lru_cache(maxsize=16)
def _tables(network: Network) -> "Tables | None":
    from framesim.networks.automaton import tables

    try:
        return tables(network)
    except NotFeasible:
        return None


def _by_lanes(network: Network, tables: "Tables", cases: Sequence[Case]) -> list[Expected | None]:
    """Return the answers that need no frame read back, and None for the others.

    The lanes say when a frame is valid but not what it holds. Where no bit of the content was flipped, it holds
    what was sent; else the reference reads it.
    """
    import numpy as np

    from framesim.coverage.lanes import NEVER, receive_lanes
    from framesim.networks.automaton import CHECKS

    longest = max(len(case.bits) for case in cases)
    idle = network.layout.idle
    padded = "".join(case.bits.ljust(longest, str(idle)) for case in cases).encode("ascii")
    rows = np.frombuffer(padded, np.uint8).reshape(len(cases), longest) - np.uint8(ord("0"))
    verdicts = receive_lanes(tables, rows, idle=idle, rest_bits=0, first_only=True)
    first = verdicts.first.astype(np.int64)
    at = np.where(first < 0, NEVER, verdicts.spoke_at[np.arange(len(cases)), first]).tolist()
    checks, valid = first.tolist(), verdicts.valid_at.tolist()
    words = [check.value for check in CHECKS]
    none = Expected(verdict=INCOMPLETE)
    answers: list[Expected | None] = []
    for row, case in enumerate(cases):
        n_bits = len(case.bits)
        if at[row] < n_bits:
            answers.append(Expected(verdict=REJECTED, check=words[checks[row]], at=at[row]))
        elif valid[row] < n_bits:
            untouched = case.recipe is not None and _content_untouched(network, case.recipe)
            answers.append(Expected(verdict=ACCEPTED, frame=case.frame) if untouched else None)
        else:
            answers.append(none)
    return answers


def _content_untouched(network: Network, recipe: Recipe) -> bool:
    """Tell whether every flip lies behind all that is read as content, checked by a code, or line-coded."""
    if not recipe.flips:
        return True
    sent = sent_by(network.name, recipe.frame)
    rows, places = network.layout.fields, network.layout.place
    fields = [rows[places[name]] for name in sent.fields]
    last = max(
        span.stop
        for field, span in zip(fields, sent.spans, strict=True)
        if field.level is None or field.coding is not PLAIN
    )
    return recipe.flips[0] >= last
