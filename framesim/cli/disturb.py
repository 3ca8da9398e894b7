"""``framesim disturb``: flip bits of a frame and see which check speaks, and where."""

import argparse
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from framesim.cli.frame_options import add_frame_options, frame_from, network_parser, split_network
from framesim.cli.output import check_words, frame_record, watched, write_json
from framesim.cli.parsing import LineParser, quoted, whole_number
from framesim.errors import BadArgument, check_range
from framesim.judging import Judgement, encode, judge
from framesim.networks.network import Network
from framesim.wire import WireFrame

__all__ = ["run"]

ABOUT = "Flip bits of a frame and see which check speaks, and where."
DEFAULT_SEED = 1
LARGEST_SEED = 2**64 - 1


def run(arguments: Sequence[str]) -> int:
    """Run the command; return the exit status: 0 whatever became of the frame."""
    network, rest = split_network("disturb", arguments, ABOUT)
    if network is None:
        return 0
    values = _parser(network).read(rest)
    sent = encode(frame_from(values, network.frame_type))
    flips, seed = _flips(values, sent)
    judgement = judge(sent, sent.flipped(flips), common=values.common)
    if values.json:
        write_json(_record(sent, flips, seed, judgement, common=values.common), network)
    else:
        where = "by everyone on the wire, the sender too" if values.common else "by one receiver only"
        _draw(sent, flips, judgement, where, whole=values.whole)
    return 0


def _parser(network: Network) -> LineParser:
    parser = network_parser("disturb", network, ABOUT)
    add_frame_options(parser, network.frame_type)
    what = parser.add_argument_group("what flips")
    what.add_argument("--flip", metavar="BITS", action="append", help="wire bits to invert: 17 or 17,40 or 20-25")
    what.add_argument("--random-flips", metavar="N", help="invert N wire bits drawn at random, all different")
    what.add_argument("--seed", metavar="N", help=f"seed of the draw (default: {DEFAULT_SEED})")
    what.add_argument(
        "--common",
        action="store_true",
        help="everyone on the wire sees the flips, the sender's monitoring too",
    )
    shape = parser.add_mutually_exclusive_group()
    shape.add_argument("--json", action="store_true", help="write one JSON object")
    shape.add_argument("--whole", action="store_true", help="draw every bit, however long the frame is")
    return parser


def _flips(values: argparse.Namespace, sent: WireFrame) -> tuple[list[int], int | None]:
    """Return the wire bits to invert in rising order, and the seed if they were drawn."""
    if values.random_flips is not None and values.flip:
        raise BadArgument("random-flips: cannot stand beside --flip; name the bits or draw them")
    if values.random_flips is None:
        if values.seed is not None:
            raise BadArgument("seed: stands only beside --random-flips")
        if not values.flip:
            raise BadArgument("flip: missing; give --flip 17,40 or --random-flips 2")
        return _named_flips(",".join(values.flip), len(sent)), None
    count = whole_number("random-flips", values.random_flips)
    check_range("random-flips", count, 0, len(sent), base="d", clause="the wire bits of this frame")
    seed = DEFAULT_SEED if values.seed is None else whole_number("seed", values.seed)
    check_range("seed", seed, 0, LARGEST_SEED, base="d")
    import numpy as np

    rng = np.random.Generator(np.random.Philox(key=seed))
    return sorted(int(place) for place in rng.choice(len(sent), size=count, replace=False)), seed


def _named_flips(text: str, n_bits: int) -> list[int]:
    """Read ``17,40,50-55``; a bit named twice would come out as it was, so that is taken for a slip."""
    flips: list[int] = []
    for item in text.split(","):
        # A leading "-" belongs to the number, so that the range check can say what is wrong with it.
        first, dash, last = (item[:1] + item[1:].replace("-", ":", 1)).partition(":")
        low = whole_number("flip", first)
        high = whole_number("flip", last) if dash else low
        for end in (low, high):
            check_range("flip", end, 0, n_bits - 1, base="d", clause="the wire bits of this frame")
        if high < low:
            raise BadArgument(f"flip={quoted(item)}: expected the lower bit first")
        flips.extend(range(low, high + 1))
    flips.sort()
    for place, following in pairwise(flips):
        if place == following:
            raise BadArgument(f"flip={place}: named twice, which would leave the bit as it was")
    return flips


def _record(
    sent: WireFrame, flips: list[int], seed: int | None, judgement: Judgement, *, common: bool
) -> dict[str, Any]:
    return {
        "network": sent.network,
        "sent": sent.bits.to01(),
        "seen": sent.flipped(flips).to01(),
        "flips": flips,
        "seed": seed,
        "common": common,
        "outcome": judgement.outcome.value,
        "check": None if judgement.check is None else judgement.check.value,
        "at": judgement.at,
        "alone": check_words(judgement.alone),
        "frame": frame_record(sent.frame),
        "received": frame_record(judgement.reception.frame),
    }


def _draw(sent: WireFrame, flips: list[int], judgement: Judgement, where: str, *, whole: bool) -> None:
    from framesim.report import terminal
    from framesim.report.ribbon import affordable_bits, ribbon_of

    console = terminal.screen()
    ribbon = ribbon_of(
        sent,
        seen=sent.flipped(flips),
        flips=flips,
        at=judgement.at,
        per_row=terminal.per_row(console.width),
        most=None if whole else affordable_bits(len(sent)),
        glyphs=terminal.glyphs_for(console),
        watch=lambda places: watched(places, "judging flips"),
    )
    terminal.draw_disturbed(console, sent, ribbon, flips=flips, judgement=judgement, where=where)
