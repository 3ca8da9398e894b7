"""``framesim campaign``: long sampling runs that are kept, resumed, merged and shown."""

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from framesim.cli.parsing import LineParser, nearest, number, quoted
from framesim.errors import BadArgument, check_number

if TYPE_CHECKING:
    from framesim.coverage.campaign.result import CampaignResult

__all__ = ["run", "write_result"]

ACTIONS = ("run", "show", "merge")

ABOUT = """usage: framesim campaign run NETWORK ... | run --scenario FILE ...
       framesim campaign show FILE
       framesim campaign merge FILE ... --into NEW

Sample frames in units that are kept as they are finished, until a rule says enough.

  run    begin a campaign, or go on with the one that --into FILE holds
  show   what a file says so far; also while it is being written
  merge  make one file of several of one campaign, from several machines

framesim campaign run --help explains one; docs/campaigns.md tells the rest.
"""


def run(arguments: Sequence[str]) -> int:
    """Run the command; return the exit status."""
    if not arguments:
        raise BadArgument(
            f"campaign: missing; expected one of {', '.join(ACTIONS)} (framesim campaign --help explains)"
        )
    action, rest = arguments[0], arguments[1:]
    if action in ("-h", "--help"):
        sys.stdout.write(ABOUT)
        return 0
    if action not in ACTIONS:
        hint = nearest(action, ACTIONS)
        raise BadArgument(f"campaign {quoted(action)}: expected one of {', '.join(ACTIONS)}{hint}")
    if action == "run":
        from framesim.cli.campaign_run import run_action

        return run_action(rest)
    return _show(rest) if action == "show" else _merge(rest)


def write_result(result: "CampaignResult", *, json: bool) -> None:
    """Write a result as JSON, or draw it."""
    if json:
        sys.stdout.write(result.to_json() + "\n")
        return
    from framesim.report.campaign_text import draw_campaign
    from framesim.report.terminal import screen

    draw_campaign(screen(), result)


def _show(arguments: Sequence[str]) -> int:
    parser = LineParser("campaign show", description="Show what a campaign's file says so far.")
    parser.add_argument("file", metavar="FILE", help="written by framesim campaign run")
    parser.add_argument("--confidence", metavar="C", help="of the intervals; that of the run, or 0.95, unless said")
    parser.add_argument("--json", action="store_true", help="write one JSON object")
    values = parser.read(arguments)
    confidence = None if values.confidence is None else number("--confidence", values.confidence)
    if confidence is not None:
        check_number("--confidence", confidence, 0.5, 0.999999)
    from framesim.coverage.campaign.merging import result_of_file

    write_result(result_of_file(values.file, confidence=confidence), json=values.json)
    return 0


def _merge(arguments: Sequence[str]) -> int:
    about = "Write the units of several files of one campaign into a new file. Units that stand in several must agree."
    parser = LineParser("campaign merge", description=about)
    parser.add_argument("files", nargs="+", metavar="FILE", help="written by framesim campaign run")
    parser.add_argument("--into", required=True, metavar="NEW", help="the new file")
    parser.add_argument("--salvage", action="store_true", help="leave damaged lines out, keep all others")
    parser.add_argument("--json", action="store_true", help="write one JSON object")
    values = parser.read(arguments)
    from framesim.coverage.campaign.merging import merge_files, result_of_file

    done = merge_files(values.files, values.into, salvage=values.salvage)
    lost = f", {done.damaged} damaged lines left out" if done.damaged else ""
    sys.stderr.write(f"{values.into}: {done.units} units, {done.repeated} of them found more than once{lost}\n")
    write_result(result_of_file(values.into), json=values.json)
    return 0
