"""``framesim encode``: a frame, bit by bit."""

import sys
from collections.abc import Sequence

from framesim.cli.frame_options import add_frame_options, frame_from, network_parser, split_network
from framesim.cli.output import frame_record, watched, write_json
from framesim.judging import encode
from framesim.wire import WireFrame

__all__ = ["run"]

ABOUT = "Put a frame on the wire, bit by bit, and show which checks guard each bit."


def run(arguments: Sequence[str]) -> int:
    """Run the command; return the exit status."""
    network, rest = split_network("encode", arguments, ABOUT)
    if network is None:
        return 0
    parser = network_parser("encode", network, ABOUT)
    add_frame_options(parser, network.frame_type)
    shape = parser.add_mutually_exclusive_group()
    shape.add_argument(
        "--json", action="store_true", help="write one JSON object: network, bits, spans, inserted, frame"
    )
    shape.add_argument("--bits", action="store_true", help="write the bits alone, for decode")
    shape.add_argument("--whole", action="store_true", help="draw every bit, however long the frame is")
    values = parser.read(rest)
    sent = encode(frame_from(values, network.frame_type))
    if values.json:
        write_json(
            {
                "network": sent.network,
                "bits": sent.bits.to01(),
                "spans": [span._asdict() for span in sent.spans],
                "inserted": list(sent.inserted),
                "frame": frame_record(sent.frame),
            },
            network,
        )
    elif values.bits:
        sys.stdout.write(sent.bits.to01() + "\n")
    else:
        _draw(sent, whole=values.whole)
    return 0


def _draw(sent: WireFrame, *, whole: bool) -> None:
    from framesim.report import terminal
    from framesim.report.ribbon import affordable_bits, ribbon_of

    console = terminal.screen()
    ribbon = ribbon_of(
        sent,
        per_row=terminal.per_row(console.width),
        most=None if whole else affordable_bits(len(sent)),
        glyphs=terminal.glyphs_for(console),
        watch=lambda places: watched(places, "judging flips"),
    )
    terminal.draw_encoded(console, sent, ribbon)
