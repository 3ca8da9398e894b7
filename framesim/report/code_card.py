"""What there is to say about one CRC at one length, as a record."""

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from framesim import __version__
from framesim.codes.crc import Crc
from framesim.codes.distance import distance_table
from framesim.codes.polynomials import factors, order_of_x
from framesim.codes.worst_case import WorstCase
from framesim.errors import NotFeasible

__all__ = ["SHOWN_RATIOS", "CodeCard", "code_card", "steps_of"]

SHOWN_RATIOS = (1e-6, 1e-5, 1e-4, 1e-3, 1e-2, 1e-1, 0.5)  #: bit error ratios at which P(undetected) is given
UP_TO = 6  #: highest number of flips counted
_BEYOND = 2  # burst spans given beyond the width


@dataclass(slots=True, kw_only=True)
class CodeCard:
    """One CRC at one length. A part that could not be computed is None, and ``refusals`` says why.

    Attributes:
        code: the CRC.
        data_bits: protected bits, without the check bits.
        distances: most data bits by Hamming distance, as far as they were found.
        distance: Hamming distance at this length.
        pattern: places of a lightest undetected pattern, 0 the first data bit.
        weights: undetected patterns by number of flips.
        probabilities: P(undetected) by bit error ratio.
        worst: the weakest bit error ratio.
        bursts: undetected share by span.
        refusals: one sentence for each part that is missing.
    """

    code: Crc
    data_bits: int
    distances: dict[int, int] = field(default_factory=dict)
    distance: int | None = None
    pattern: tuple[int, ...] | None = None
    weights: dict[int, int] | None = None
    probabilities: dict[float, float] | None = None
    worst: WorstCase | None = None
    bursts: dict[int, float] = field(default_factory=dict)
    refusals: list[str] = field(default_factory=list)

    @property
    def length(self) -> int:
        """Bits of the code word."""
        return self.data_bits + self.code.width

    def patterns_of(self, weight: int) -> int:
        """Return how many patterns of so many flips the word has room for."""
        return math.comb(self.length, weight)

    def record(self) -> dict[str, Any]:
        """Return the card as JSON can hold it; keys in reading order."""
        code = self.code
        return {
            "version": __version__,
            **parameters(code),
            "factors": [{"polynomial": f"{part:#x}", "times": times} for part, times in factors(code.generator)],
            "order": order_of_x(code.generator),
            "longest_at_distance": {str(distance): bits for distance, bits in self.distances.items()},
            "data_bits": self.data_bits,
            "hamming_distance": self.distance,
            "undetected_pattern": None if self.pattern is None else list(self.pattern),
            "weights": None if self.weights is None else {str(w): count for w, count in self.weights.items()},
            "probability_method": "exact, independent flips of all code word bits",
            "undetected_probability": None
            if self.probabilities is None
            else {f"{ratio:g}": value for ratio, value in self.probabilities.items()},
            "worst_case": None
            if self.worst is None
            else {
                "bit_error_ratio": self.worst.bit_error_ratio,
                "undetected_probability": self.worst.probability,
                "times_2_to_width": self.worst.ratio,
                "relative_excess": self.worst.excess,
                "bounded_by_2_to_minus_width": self.worst.bounded,
            },
            "undetected_bursts": {str(span): share for span, share in self.bursts.items()},
            "refusals": list(self.refusals),
        }

    def to_json(self) -> str:
        """Return the record as one line of JSON."""
        return json.dumps(self.record(), ensure_ascii=True, allow_nan=False)


def parameters(code: Crc) -> dict[str, Any]:
    """Return the parameters of a CRC as JSON can hold them."""
    return {
        "name": code.name,
        "aliases": list(code.aliases),
        "width": code.width,
        "polynomial": f"{code.polynomial:#x}",
        "initial": f"{code.initial:#x}",
        "reflected_in": code.reflected_in,
        "reflected_out": code.reflected_out,
        "xor_out": f"{code.xor_out:#x}",
        "check": None if code.check is None else f"{code.check:#x}",
        "source": code.source,
        "provisional": code.provisional,
    }


def code_card(code: Crc, data_bits: int, *, ratios: tuple[float, ...] = SHOWN_RATIOS) -> CodeCard:
    """Compute everything on the card, up to about half a minute for 32 bits.

    Args:
        code: the CRC.
        data_bits: protected bits, without the check bits.
        ratios: bit error ratios at which P(undetected) is wanted.

    Raises:
        BadArgument: an argument out of range.
    """
    card = CodeCard(code=code, data_bits=data_bits)
    for step in steps_of(card, ratios=ratios):
        step()
    return card


def steps_of(card: CodeCard, *, ratios: tuple[float, ...] = SHOWN_RATIOS) -> list[Callable[[], None]]:
    """Return the computations that fill an empty card, so that a caller may show how far along it is."""
    code, data_bits = card.code, card.data_bits
    longest_burst = min(code.width + _BEYOND, card.length)

    def fill(part: str, compute: Callable[[], Any]) -> Callable[[], None]:
        def step() -> None:
            try:
                setattr(card, part, compute())
            except NotFeasible as refused:
                if str(refused) not in card.refusals:  # two parts may lack the same count
                    card.refusals.append(str(refused))

        return step

    def bursts() -> dict[int, float]:
        return {span: float(share) for span, share in code.burst_coverage(data_bits, longest_burst).items()}

    def probabilities() -> dict[float, float]:
        return dict(_probabilities(code, data_bits, ratios))

    return [
        fill("bursts", bursts),
        fill("distance", lambda: code.hamming_distance(data_bits)),
        fill("distances", lambda: distance_table(code)),
        fill("pattern", lambda: code.undetected_pattern(data_bits)),
        fill("weights", lambda: code.weights(data_bits, up_to=min(UP_TO, card.length))),
        fill("probabilities", probabilities),
        fill("worst", lambda: code.worst_case(data_bits)),
    ]


def _probabilities(code: Crc, data_bits: int, ratios: tuple[float, ...]) -> Iterator[tuple[float, float]]:
    for ratio in ratios:
        yield ratio, code.undetected_probability(data_bits, ratio)
