"""``framesim claims``: claims about error coverage, each proven, refuted, bounded or left open."""

import argparse
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from framesim.cli.interruption import INTERRUPTED
from framesim.cli.output import share_bar
from framesim.cli.parsing import LineParser
from framesim.errors import BadArgument, BadInput

if TYPE_CHECKING:
    from framesim.claims.record import ClaimsReport

__all__ = ["run"]

SOME_UNSETTLED = 1

ABOUT = """Examine claims about error coverage. Each is proven (exhaustively or exactly, and
over what), refuted (with a counterexample that can be replayed), bounded (an
interval, and whether it lies within the claim), or open (and what it would take).
Without a file: the built-in claims, sayings of the trade."""

EPILOG = """Exit status: 0 all proven or bounded within the claim, 1 some refuted, open or
outside, 2 bad input. The tool states evidence for people who judge; it certifies
nothing. docs/claims.md describes the file and the evidence folder."""


def run(arguments: Sequence[str]) -> int:
    """Run the command; return the exit status."""
    values = _parser().read(arguments)
    if values.verify is not None:
        return _verify(values)
    if values.show_claims:
        from framesim.claims.example import EXAMPLE

        sys.stdout.write(EXAMPLE)
        return 0
    return _check(values)


def _parser() -> LineParser:
    parser = LineParser("claims", description=ABOUT, epilog=EPILOG)
    parser.add_argument("file", nargs="?", metavar="FILE.toml", help="a claims file (docs/claims.md)")
    parser.add_argument("--evidence", metavar="FOLDER", help="write a folder that another can verify; new or empty")
    parser.add_argument("--verify", metavar="FOLDER", help="repeat what an evidence folder says, and say what differs")
    parser.add_argument("--json", action="store_true", help="write one JSON object (schema: docs/evidence.schema.json)")
    parser.add_argument("--show-claims", action="store_true", help="write the built-in claims, to start your own")
    return parser


def _check(values: argparse.Namespace) -> int:
    from framesim.claims.checking import decide_all
    from framesim.claims.evidence import expect_free
    from framesim.claims.reading import load_claims

    claims = load_claims(values.file)
    if values.evidence is not None:
        expect_free(values.evidence)  # before the work, so that nothing is lost
    with share_bar("examining claims") as show:
        report = decide_all(claims, progress=show)
    try:  # first, since a reader of our output may go away; and if it cannot be written, what was found is shown
        digest = None if values.evidence is None else _keep(values.evidence, report)
    except BadInput:
        _show(report, as_json=values.json)
        sys.stdout.flush()
        raise
    _show(report, as_json=values.json)
    if digest is not None and not values.json:
        sys.stdout.write(f"\nEvidence in {values.evidence}, digest {digest}.\n")
    if report.partial:
        return INTERRUPTED
    return 0 if report.within else SOME_UNSETTLED


def _keep(folder: str, report: "ClaimsReport") -> str:
    from framesim.claims.evidence import write_evidence
    from framesim.report.claims_page import claims_page

    return write_evidence(folder, report, page=claims_page(report.record()))


def _show(report: "ClaimsReport", *, as_json: bool) -> None:
    if as_json:
        sys.stdout.write(report.to_json() + "\n")
        return
    from framesim.report.claims_text import draw_claims
    from framesim.report.terminal import screen

    draw_claims(screen(), report)


def _verify(values: argparse.Namespace) -> int:
    if values.file is not None or values.evidence is not None or values.show_claims:
        raise BadArgument("--verify: stands alone, or beside --json")
    import json

    from framesim.claims.verifying import verify
    from framesim.report.claims_page import claims_page

    with share_bar("repeating") as show:
        result = verify(values.verify, render=claims_page, progress=show)
    if values.json:
        sys.stdout.write(json.dumps(result.record(), indent=2, ensure_ascii=True) + "\n")
    else:
        from framesim.report.claims_verified_text import draw_verified
        from framesim.report.terminal import screen

        draw_verified(screen(), result)
    if result.interrupted:
        return INTERRUPTED
    return 0 if result.holds else SOME_UNSETTLED
