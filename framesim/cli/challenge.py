"""``framesim challenge``: somebody else's encoder or decoder, behind a pipe."""

import json
import os
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from framesim.cli.frame_options import network_parser, split_network
from framesim.cli.interruption import INTERRUPTED
from framesim.cli.output import share_bar, write_json
from framesim.cli.parsing import number, quoted, whole_number
from framesim.errors import BadArgument, BadInput

if TYPE_CHECKING:
    from framesim.challenge.report import Report
    from framesim.networks.network import Network

__all__ = ["run"]

ABOUT = """Challenge an encoder or decoder of your own, in any language: a command that
reads one JSON line a case on standard input and answers one line a case on
standard output (docs/challenge.md has the protocol, and clients in Python and C
to start from)."""
CLEAN, FOUND = 0, 1
_MOST_FILES = 1000


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
        help=f"write what was found to this file; default, if something was: challenge-{network.name}.json, or with a "
        "number where that is there already",
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
    try:  # first, since a reader of our output may go away; and if it cannot be written, what was found is shown
        file = _keep(report, values.save, unasked=not values.json and not report.clean)
    except BadInput:
        _show(report, network, as_json=values.json, file=None)
        sys.stdout.flush()
        raise
    _show(report, network, as_json=values.json, file=file)
    if report.stopped == "interrupted":
        return INTERRUPTED
    return CLEAN if report.clean else FOUND


def _check_file(name: str | None) -> None:
    """Raise before any work is done if the file cannot be written, or is something else than earlier findings.

    Raises:
        BadArgument: so it is.
    """
    if name is None:
        return
    path = Path(name)
    if not name or path.is_dir() or not path.parent.is_dir():
        raise BadArgument(f"save={quoted(name)}: expected a file in a folder that exists")
    if path.is_file() and not _holds_findings(path):
        raise BadArgument(
            f"save={quoted(name)}: is there already and holds no findings; expected a new file, or one of an earlier "
            "challenge"
        )


def _holds_findings(path: Path) -> bool:
    """Tell whether a file is empty or holds the findings of a challenge: no other is written over, by a slip."""
    try:
        text = path.read_bytes()
        held = json.loads(text) if text else {"network": "", "findings": []}
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(held, dict) and "network" in held and isinstance(held.get("findings"), list)


def _show(report: "Report", network: "Network", *, as_json: bool, file: str | None) -> None:
    if as_json:
        write_json(report.record(), network)
        return
    from framesim.report.challenge_text import draw_challenge
    from framesim.report.terminal import screen

    draw_challenge(screen(), report, file=file)


def _keep(report: "Report", name: str | None, *, unasked: bool) -> str | None:
    """Write the findings as JSON to the file named, or to a new one; return its name, or None where none is wanted.

    Raises:
        BadInput: the file cannot be written.
    """
    if name is None and not unasked:
        return None
    text = json.dumps(report.record(), indent=1) + "\n"
    for each in [name] if name is not None else _names(report.network):
        try:
            # Nobody named the file: what an earlier challenge found stays where it is.
            with Path(each).open("w" if name is not None else "x", encoding="utf-8") as file:
                file.write(text)
        except FileExistsError:
            continue
        except OSError as error:
            raise BadInput(f"save={quoted(each)}: {error.strerror or error}") from None
        return each
    raise BadInput(f"save: {_MOST_FILES} files of findings are here already; expected --save FILE")


def _names(network: str) -> Iterator[str]:
    yield f"challenge-{network}.json"
    yield from (f"challenge-{network}-{number}.json" for number in range(2, _MOST_FILES + 1))
