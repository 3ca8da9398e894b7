"""A CRC's card, and the catalogue, on a terminal."""

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from framesim.codes.crc import Crc
from framesim.codes.polynomials import factors, order_of_x, spelt
from framesim.codes.width_bound import excess_text
from framesim.report.code_card import CodeCard

__all__ = ["draw_card", "draw_catalogue"]

SEEN_BITS = (
    "Flips are those of the bits that the CRC sees, data and check bits alike. On a line with stuffing or a line "
    "code one flip of the wire may change many of them: framesim residual counts that."
)
_FACTOR_TERMS = 60  # longer factors are given in hexadecimal


def draw_catalogue(console: Console, codes: Sequence[Crc]) -> None:
    """Draw one line for each CRC."""
    table = _table(None, "name", "width", "polynomial", "known from")
    for code in codes:
        source = f"provisional: {code.source}" if code.provisional else code.source
        table.add_row(code.name, str(code.width), f"{code.polynomial:#x}", source)
    console.print(table)


def draw_card(console: Console, card: CodeCard) -> None:
    """Draw everything that is known about the CRC at the card's length."""
    _head(console, card.code)
    if card.distances:
        console.print()
        _distances(console, card.distances)
    console.print()
    word = f"{_bits(card.data_bits, 'data')} and {_bits(card.code.width, 'check')}, {card.length} in all"
    console.print(Text(f"At {word}", style="bold"))
    if card.distance is not None:
        caught = f"Any {card.distance - 1} flips or fewer are" if card.distance > 2 else "Any single flip is"
        console.print(Text(f"{caught} caught (Hamming distance {card.distance})."))
    if card.pattern is not None:
        places = ", ".join(map(str, card.pattern))
        console.print(Text(f"These {len(card.pattern)} flips pass: bits {places} (0 is the first data bit)."))
    if card.weights is not None:
        console.print()
        _weights(console, card, card.weights)
    if card.probabilities is not None:
        console.print()
        _probabilities(console, card, card.probabilities)
    _worst(console, card)
    console.print()
    _bursts(console, card)
    for refusal in card.refusals:
        console.print(Text(f"Not computed. {refusal}.", style="bold"))
    console.print()
    console.print(Text(SEEN_BITS, style="dim"))


def _head(console: Console, code: Crc) -> None:
    console.print(Text(f"{code.name}: {_bits(code.width, 'check')}, polynomial {code.polynomial:#x}", style="bold"))
    if code.provisional:
        console.print(Text("Provisional: expect changes.", style="bold"))
    console.print(Text(f"generator {spelt(code.generator)}"))
    parts = [f"({_short(part)})" + (f"^{times}" if times > 1 else "") for part, times in factors(code.generator)]
    console.print(Text(f"= {' '.join(parts)}" if len(parts) > 1 else "which cannot be factored"))
    console.print(Text(f"order of x: {order_of_x(code.generator)}; in longer words two flips can pass"))
    order = "least" if code.reflected_in else "most"
    read = ", read mirrored" if code.reflected_out else ""
    console.print(
        Text(f"preset {code.initial:#x}, bytes enter {order} significant bit first{read}, then xor {code.xor_out:#x}")
    )
    check = "none published" if code.check is None else f"{code.check:#x}"
    console.print(Text(f"check value of 123456789: {check}"))
    console.print(Text(f"source: {code.source}", style="dim"))


def _bits(count: int, what: str) -> str:
    return f"{count} {what} bit{'' if count == 1 else 's'}"


def _short(polynomial: int) -> str:
    text = spelt(polynomial)
    return text if len(text) <= _FACTOR_TERMS else f"{polynomial:#x}"


def _table(title: str | None, *heads: str) -> Table:
    table = Table(title=title, title_justify="left", title_style="bold", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for place, head in enumerate(heads):
        table.add_column(head, justify="left" if place == 0 or head == "known from" else "right")
    return table


def _distances(console: Console, distances: dict[int, int]) -> None:
    table = _table("How long the distance is held", "Hamming distance at least", "up to data bits")
    for distance, data_bits in distances.items():
        if data_bits != distances.get(distance + 1):  # the higher distance says it already
            table.add_row(str(distance), str(data_bits))
    console.print(table)


def _weights(console: Console, card: CodeCard, weights: dict[int, int]) -> None:
    table = _table("Patterns that pass", "flips", "undetected patterns", "of all patterns", "share x 2^width")
    for weight, count in weights.items():
        possible = card.patterns_of(weight)
        share = f"{count / possible * 2**card.code.width:.3g}" if count else "none"
        table.add_row(str(weight), str(count), f"{possible:.4g}" if possible > 10**9 else str(possible), share)
    console.print(table)


def _probabilities(console: Console, card: CodeCard, probabilities: dict[float, float]) -> None:
    table = _table(
        "Independent flips of every bit (exact)", "bit error ratio", "P(undetected)", "x 2^width", "per hit word"
    )
    for ratio, value in probabilities.items():
        hit = -_minus_clean(ratio, card.length)
        table.add_row(f"{ratio:g}", f"{value:.4e}", f"{value * 2.0**card.code.width:.3g}", f"{value / hit:.3e}")
    console.print(table)


def _minus_clean(ratio: float, length: int) -> float:
    """Return (1 - ratio)^length - 1 without losing digits."""
    from math import expm1, log1p

    return expm1(length * log1p(-ratio)) if ratio < 1 else -1.0


def _worst(console: Console, card: CodeCard) -> None:
    if card.worst is None:
        return
    worst, width = card.worst, card.code.width
    bound = f"2^-{width} = {2.0**-width:.4e}"
    verdict = {
        True: f"{bound} is an upper bound here, for every bit error ratio up to 1/2",
        False: f"{bound} is no upper bound here",
        None: f"Whether {bound} is an upper bound here is not settled",
    }[worst.bounded]
    text = (
        f"{verdict}: the highest value found is {worst.probability:.4e}, at the bit error ratio "
        f"{worst.bit_error_ratio:.4g}, relative excess {excess_text(worst.excess)}."
    )
    console.print()
    console.print(Text(text))


def _bursts(console: Console, card: CodeCard) -> None:
    width = card.code.width
    parts = ["every single flip is caught" if width == 1 else f"every burst of up to {width} bits is caught"]
    if width + 1 in card.bursts:
        parts.append(f"of those of {width + 1} bits, {_one_in(2 ** (width - 1))} passes")
    if width + 2 in card.bursts:
        parts.append(f"of longer ones {_one_in(2**width)}")
    console.print(Text(f"Bursts: {'; '.join(parts)}."))


def _one_in(many: int) -> str:
    return "every one" if many == 1 else f"1 in {many}"
