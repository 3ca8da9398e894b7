"""``framesim decode``: what a receiver makes of some bits."""

import io
import json
import sys
from collections.abc import Callable, Sequence
from typing import BinaryIO

from bitarray import bitarray

from framesim.cli.frame_options import network_parser, split_network
from framesim.cli.output import frame_record, write_json
from framesim.cli.parsing import quoted
from framesim.errors import BadArgument, BadInput
from framesim.judging import REST_BITS, receive
from framesim.wire import parse_bits

__all__ = ["run"]

ABOUT = "Let a receiver judge some bits."
DRAWN_BITS = 600
MOST_CHARACTERS = 1_000_000  # the longest frame of any network is far shorter


def run(arguments: Sequence[str]) -> int:
    """Run the command; return the exit status: 0 whatever the verdict is, for a verdict is no error."""
    network, rest = split_network("decode", arguments, ABOUT)
    if network is None:
        return 0
    parser = network_parser("decode", network, ABOUT)
    parser.add_argument(
        "bits",
        nargs="?",
        metavar="BITS",
        help="0 and 1 in wire order, blanks and _ ignored; - reads standard input, @FILE a file; "
        "the output of encode --json will do too",
    )
    parser.add_argument(
        "--json", action="store_true", help="write one JSON object: accepted, complete, check, at, frame"
    )
    parser.add_argument(
        "--then-idle",
        action="store_true",
        help="the wire rests at its idle level afterwards, for as long as the receiver needs",
    )
    parser.add_argument("--whole", action="store_true", help=f"draw every bit of more than {DRAWN_BITS}")
    values = parser.read(rest)
    if values.bits is None:
        raise BadArgument("bits: missing; give 0 and 1, or - for standard input, or @FILE")
    bits = _bits(values.bits)
    following = bitarray([network.layout.idle]) * (REST_BITS if values.then_idle else 0)
    reception = receive(bits + following, network.name)
    if values.json:
        write_json(
            {
                "accepted": reception.accepted,
                "complete": reception.complete,
                "check": None if reception.check is None else reception.check.value,
                "at": reception.at,
                "frame": frame_record(reception.frame),
            },
            network,
        )
        return 0
    from framesim.report import terminal

    most = None if values.whole else DRAWN_BITS
    terminal.draw_decoded(terminal.screen(), network, bits.to01(), reception, most=most)
    return 0


def _bits(given: str) -> bitarray:
    """Read the bits from the command line, standard input or a file.

    Raises:
        BadArgument: none given, or something else than 0 and 1.
        BadInput: a file that cannot be read, holds more than a frame could, or is no text.
    """
    text, source = given, "bits"
    if given == "-":
        source = "bits on standard input"
        if sys.stdin is None:
            raise BadInput(f"{source}: it is closed")
        text = _text(lambda: sys.stdin.buffer, source)
    elif given.startswith("@"):
        source = f"bits={quoted(given)}"
        text = _text(lambda: io.BufferedReader(io.FileIO(given[1:])), source)
    if text.lstrip().startswith("{"):
        text = _bits_of_record(text, source)
    try:
        bits = parse_bits(text)
    except BadArgument as error:
        raise BadArgument(f"{source}{str(error).removeprefix('bits')}") from None
    if not bits:
        raise BadArgument(f"{source}: empty; expected 0 and 1 in wire order")
    return bits


def _text(opened: Callable[[], BinaryIO], source: str) -> str:
    """Read a text of bounded length; an endless one is not read to its end."""
    try:
        with opened() as file:
            raw = file.read(MOST_CHARACTERS + 1)
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise BadInput(f"{source}: {reason}") from None
    if len(raw) > MOST_CHARACTERS:
        raise BadInput(f"{source}: more than {MOST_CHARACTERS} characters; no frame is that long")
    try:
        return raw.decode("ascii")
    except UnicodeDecodeError as error:
        raise BadInput(
            f"{source}: byte {raw[error.start]:#04x} at character {error.start + 1}: expected only 0 and 1"
        ) from None


def _bits_of_record(text: str, source: str) -> str:
    """Take the bits out of what ``encode --json`` wrote."""
    try:
        record = json.loads(text)
        bits = record["bits"]
    except (ValueError, KeyError, RecursionError):
        raise BadInput(f"{source}: expected 0 and 1, or a JSON object with a key 'bits'") from None
    if not isinstance(bits, str):
        raise BadInput(f"{source}: key 'bits': expected a text of 0 and 1")
    return bits
