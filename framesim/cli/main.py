"""The ``framesim`` command: picks the command's own file and turns errors into one line.

Nothing heavy may be imported here: ``framesim --help`` is typed more often than anything else.
"""

import io
import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from importlib import import_module

from framesim.cli.interruption import INTERRUPTED
from framesim.cli.parsing import nearest, one_line
from framesim.errors import BadArgument, FramesimError

__all__ = ["COMMANDS", "entry", "main"]

#: name -> what it does, in one line. The command lives in ``framesim/cli/<name>.py`` and offers
#: ``run(arguments) -> exit status``; a hyphen in the name is an underscore in the file's.
COMMANDS: dict[str, str] = {
    "coverage": "run a scenario: what each check caught, beside the analog line (the main job)",
    "encode": "put a frame on the wire, bit by bit, and show which checks guard each bit",
    "decode": "let a receiver judge some bits",
    "codes": "what a CRC catches, and what it does not",
    "compare": "put one value on every network, and on the analog line",
    "residual": "how often a wrong frame passes as right: exact where a method reaches",
    "campaign": "long sampling runs: kept as they go, resumed, shared by machines, merged",
    "claims": "claims about coverage: proven, refuted, bounded or open, with evidence",
    "disturb": "flip bits of a frame and see which check speaks, and where",
    "course": "what the controller used, second by second, under each policy",
    "fit": "fit a channel with few states to flips, drawn or recorded",
    "slips": "what lost and doubled bits do, tried or made by sparks",
    "waveform": "lay an interference voltage, written or recorded, beside frames",
    "challenge": "test an encoder or decoder of your own, in any language",
}

BAD_INPUT, NO_READER = 2, 141


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status.

    Args:
        argv: the words after ``framesim``; those of this process if None.

    Returns:
        What the command returned; 2 after an error (said in one line on standard error), 130 if interrupted,
        141 if the reader of our output went away.
    """
    try:
        if sys.stdout is None:
            return _fail("output: standard output is closed")
        if isinstance(sys.stdout, io.TextIOWrapper):
            sys.stdout.reconfigure(errors="replace")  # a terminal that cannot write a sign shows another
        status = _run(list(sys.argv[1:] if argv is None else argv))
        sys.stdout.flush()
    except FramesimError as error:
        return _fail(str(error))
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        _silence_output()
        return NO_READER
    except OSError as error:
        _silence_output()
        return _fail(f"output: {error.strerror or error}")
    except SystemExit as left:  # argparse leaves in this way after a command's --help
        return left.code if isinstance(left.code, int) else 0
    return status


def entry() -> None:
    """Run the command of this process and leave with its status."""
    sys.exit(main())


def _run(arguments: list[str]) -> int:
    if not arguments:
        raise BadArgument(f"command: missing; expected one of {', '.join(COMMANDS)} (framesim --help explains)")
    command, rest = arguments[0], arguments[1:]
    if command in ("-h", "--help"):
        sys.stdout.write(_help())
        return 0
    if command == "--version":
        from framesim import __version__

        sys.stdout.write(f"framesim {__version__}\n")
        return 0
    if command not in COMMANDS:
        hint = nearest(command, [*COMMANDS, "--help", "--version"])
        raise BadArgument(f"command={command!r}: expected one of {', '.join(COMMANDS)}{hint}")
    status: int = import_module(f"framesim.cli.{command.replace('-', '_')}").run(rest)
    return status


def _help() -> str:
    width = max(map(len, COMMANDS))
    commands = "\n".join(f"  {name:<{width}}  {summary}" for name, summary in COMMANDS.items())
    return f"""usage: framesim COMMAND ...
       framesim --help | --version

Build vehicle-network frames bit by bit, disturb them, and see how far their checks reach.

commands:
{commands}

framesim COMMAND --help explains a command. All take --json for output that machines read.
Exit status: 0 done, 1 what was examined does not hold, 2 bad input (one line on standard error says what).
"""


def _fail(message: str) -> int:
    sys.stderr.write(f"framesim: {one_line(message)}\n")
    return BAD_INPUT


def _silence_output() -> None:
    """Keep the interpreter from complaining when it flushes output that nobody takes."""
    with suppress(OSError, ValueError):  # a test's stand-in for standard output has no descriptor
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
