"""The options that say which disturbance flips the bits of frames."""

import argparse
from typing import Any

from framesim.cli.parsing import LineParser, number, quoted
from framesim.errors import BadArgument

__all__ = ["add_channel_options", "channel_from"]


def add_channel_options(parser: LineParser) -> Any:
    """Add the options, of which one must be given; return their group, so that a command may add one of its own."""
    noise = parser.add_argument_group("the disturbance (one of them)").add_mutually_exclusive_group(required=True)
    noise.add_argument("--bit-error-ratio", metavar="P", help="independent flips of every bit")
    noise.add_argument(
        "--gilbert-elliott",
        metavar="A,B,C,D",
        help="good to bad, bad to good, chance of a flip in the good state, in the bad state",
    )
    noise.add_argument("--channel", dest="channel_file", metavar="FILE.toml", help="a channel file (docs/scenarios.md)")
    return noise


def channel_from(values: argparse.Namespace) -> Any:
    """Return the channel that the shared options describe; an option of the command's own is for the command to read.

    Raises:
        BadArgument: a value out of place.
        BadInput: the channel file cannot be used.
    """
    from framesim.disturbance import GilbertElliott, Scatter

    if values.channel_file is not None:
        from framesim.coverage.channel_file import load_channel

        return load_channel(values.channel_file)
    if values.gilbert_elliott is not None:
        parts = values.gilbert_elliott.split(",")
        names = ("good_to_bad", "bad_to_good", "good_error", "bad_error")
        if len(parts) != len(names):
            raise BadArgument(f"--gilbert-elliott={quoted(values.gilbert_elliott)}: expected {len(names)} numbers")
        given = {name: number("--gilbert-elliott", part) for name, part in zip(names, parts, strict=True)}
        return GilbertElliott(**given)
    return Scatter(bit_error_ratio=number("--bit-error-ratio", values.bit_error_ratio))
