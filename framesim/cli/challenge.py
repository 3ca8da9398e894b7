"""``framesim challenge``: somebody else's encoder or decoder, behind a pipe."""

import json
import os
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from framesim.cli.frame_options import network_parser, split_network
from framesim.cli.output import share_bar, write_json
from framesim.cli.parsing import number, quoted, whole_number
from framesim.errors import BadArgument, BadInput

if TYPE_CHECKING:
    from framesim.challenge.report import Report

__all__ = ["run"]

ABOUT = """Challenge an encoder or decoder of your own, in any language: a command that reads one JSON line a case on
standard input and answers one line a case on standard output (docs/challenge.md has the protocol, and clients in
Python and C to start from)."""
CLEAN, FOUND, INTERRUPTED = 0, 1, 130


def run(arguments: Sequence[str]) -> int:
    """Run the command; return the exit status: 0 nothing found, 1 something found, 130 interrupted."""
    words = list(arguments)
    place = words.index("--") if "--" in words else len(words)
    network, rest = split_network("challenge", words[:place], ABOUT)
    if network is None:
        return CLEAN
    parser = network_parser("challenge", network, ABOUT)
    parser.usage = f"framesim challenge {network.name} [options] -- COMMAND ..."
    parser.add_argument("--mode", metavar="decode|encode|both", default="decode", help="what to ask (default: decode)")
    parser.add_argument("--cases", metavar="NUMBER", default="20000", help="how many cases (default: 20000)")
    parser.add_argument("--seed", metavar="NUMBER", default="1", help="of the random cases (default: 1)")
    parser.add_argument(
        "--timeout",
        metavar="SECONDS",
        default="5",
        help="the command counts as hanging after so long without an answer (default: 5)",
    )
    parser.add_argument(
        "--save",
        metavar="FILE",
        help=f"write what was found to this file; default: challenge-{network.name}.json, if something was",
    )
    parser.add_argument("--json", action="store_true", help="write one JSON object instead, and no file unless asked")
    values = parser.read(rest)
    command = words[place + 1 :]
    if not command:
        raise BadArgument(f"command: missing; give it after -- (framesim challenge {network.name} -- ./decoder)")
    _check_file(values.save)
    from framesim.challenge.calls import challenge_command

    with TemporaryDirectory(prefix="framesim-") as storage, share_bar("asking") as watch:
        os.environ.setdefault("HYPOTHESIS_STORAGE_DIRECTORY", storage)  # else it leaves a folder where one works
        report = challenge_command(
            command,
            network=network.name,
            mode=values.mode,
            cases=whole_number("cases", values.cases),
            seed=whole_number("seed", values.seed),
            timeout=number("timeout", values.timeout),
            watch=watch,
        )
    file = values.save or (None if values.json or report.clean else f"challenge-{network.name}.json")
    if values.json:
        write_json(report.record(), network)
    else:
        from framesim.report.challenge_text import draw_challenge
        from framesim.report.terminal import screen

        draw_challenge(screen(), report, file=file)
    if file is not None:
        _save(report, file)
    if report.stopped == "interrupted":
        return INTERRUPTED
    return CLEAN if report.clean else FOUND


def _check_file(name: str | None) -> None:
    """Raise before any work is done if the file's folder is not there.

    Raises:
        BadArgument: so it is.
    """
    if name is not None and (not name or Path(name).is_dir() or not Path(name).resolve().parent.is_dir()):
        raise BadArgument(f"save={quoted(name)}: expected a file in a folder that exists")


def _save(report: "Report", name: str) -> None:
    """Write the findings as JSON.

    Raises:
        BadInput: the file cannot be written; the report has been shown by then.
    """
    try:
        Path(name).write_text(json.dumps(report.record(), indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        raise BadInput(f"save={quoted(name)}: {error.strerror or error}") from None
