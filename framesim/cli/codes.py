"""``framesim codes``: what a CRC catches, and what it does not."""

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from framesim.cli.parsing import LineParser, number, whole_number
from framesim.errors import BadArgument, BadInput, check_range

if TYPE_CHECKING:
    from framesim.codes.crc import Crc
    from framesim.report.code_card import CodeCard

__all__ = ["run"]

ABOUT = """Say what a CRC catches and what it does not: Hamming distances, numbers of undetected patterns, exact
probabilities, the weakest bit error ratio, bursts. Without a name, list the catalogue."""

DEFAULT_DATA_BITS = 64
LONGEST = 1 << 20


def run(arguments: Sequence[str]) -> int:
    """Run the command; return the exit status."""
    values = _parser().read(arguments)
    code = _code(values)
    if code is None:
        _list(values)
        return 0
    data_bits = DEFAULT_DATA_BITS if values.data_bits is None else whole_number("data-bits", values.data_bits)
    check_range("data-bits", data_bits, 1, LONGEST, base="d")
    if values.plot_data is not None:
        _write_curve(code, data_bits, values.plot_data)
        return 0
    card = _card(code, data_bits, values.bit_error_ratio)
    if values.json:
        sys.stdout.write(card.to_json() + "\n")
    else:
        from framesim.report.code_card_text import draw_card
        from framesim.report.terminal import screen

        draw_card(screen(), card)
    return 0


def _parser() -> LineParser:
    parser = LineParser("codes", description=ABOUT)
    parser.add_argument("name", nargs="?", metavar="NAME", help="a CRC of the catalogue, such as CRC-15/CAN")
    parser.add_argument("--polynomial", metavar="N", help="instead of NAME: the generator without its leading 1")
    parser.add_argument("--width", metavar="N", help="beside --polynomial: its degree, 1..64")
    parser.add_argument(
        "--data-bits", metavar="N", help=f"protected bits, without the CRC ({DEFAULT_DATA_BITS} unless said)"
    )
    parser.add_argument("--bit-error-ratio", metavar="P", help="give P(undetected) at this ratio as well")
    shape = parser.add_mutually_exclusive_group()
    shape.add_argument("--json", action="store_true", help="write one JSON object")
    shape.add_argument(
        "--plot-data",
        metavar="FILE.csv",
        help="write P(undetected) against the bit error ratio, to plot with anything; - is standard output",
    )
    return parser


def _code(values: argparse.Namespace) -> "Crc | None":
    """Return the CRC that the command line names or spells, or None if it asks for the list."""
    from framesim.codes import crc, crc_from_polynomial

    if values.polynomial is None:
        if values.width is not None:
            raise BadArgument("width: stands only beside --polynomial")
        if values.name is not None:
            return crc(values.name)
        for option in ("data_bits", "bit_error_ratio", "plot_data"):
            if getattr(values, option) is not None:
                raise BadArgument(f"name: missing; --{option.replace('_', '-')} needs a CRC")
        return None
    if values.name is not None:
        raise BadArgument("polynomial: cannot stand beside a name; give one of them")
    if values.width is None:
        raise BadArgument("width: missing; --polynomial needs its degree")
    return crc_from_polynomial(whole_number("polynomial", values.polynomial), whole_number("width", values.width))


def _list(values: argparse.Namespace) -> None:
    from framesim.codes.catalogue import CATALOGUE

    if values.json:
        from framesim.report.code_card import parameters

        sys.stdout.write(json.dumps({"codes": [parameters(code) for code in CATALOGUE.values()]}) + "\n")
        return
    from framesim.report.code_card_text import draw_catalogue
    from framesim.report.terminal import screen

    draw_catalogue(screen(), list(CATALOGUE.values()))


def _card(code: "Crc", data_bits: int, ratio_text: str | None) -> "CodeCard":
    from framesim.cli.output import watched
    from framesim.report.code_card import SHOWN_RATIOS, CodeCard, steps_of

    ratios: tuple[float, ...] = SHOWN_RATIOS
    if ratio_text is not None:
        ratios = tuple(sorted({*ratios, _ratio(ratio_text)}))
    card = CodeCard(code=code, data_bits=data_bits)
    steps = steps_of(card, ratios=ratios)
    for place in watched(range(len(steps)), "counting patterns"):
        steps[place]()
    return card


def _ratio(text: str) -> float:
    ratio = number("bit-error-ratio", text)
    if not 0 < ratio <= 1:
        raise BadArgument(f"bit-error-ratio={ratio!r}: must be more than 0 and at most 1")
    return ratio


def _write_curve(code: "Crc", data_bits: int, target: str) -> None:
    from framesim.report.code_curve import curve_csv

    text = curve_csv(code, data_bits)
    if target == "-":
        sys.stdout.write(text)
        return
    try:
        Path(target).write_text(text, encoding="utf-8")
    except OSError as error:
        raise BadInput(f"{target}: cannot be written ({error.strerror or error})") from None
