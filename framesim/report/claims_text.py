"""Claims and findings on a terminal: legible without colour, at 80 columns, in a pipe."""

from textwrap import wrap
from typing import Any

from rich.console import Console
from rich.text import Text

from framesim.claims.finding import Finding, Meets, Verdict
from framesim.claims.record import STANDING, ClaimsReport
from framesim.plain import one_line
from framesim.report.caution import CAUTION

__all__ = ["draw_claims", "fields_text", "heading"]

INDENT = 4
_JOINED = "\u00a0"
LONGEST_COMMAND = 100  # characters; longer ones stand in the JSON and in the evidence

STYLES = {Verdict.PROVEN: "bold", Verdict.REFUTED: "bold reverse", Verdict.BOUNDED: "bold", Verdict.OPEN: "bold"}


def draw_claims(console: Console, report: ClaimsReport) -> None:
    """Draw one paragraph a claim, then the sum."""
    claims = report.claims
    _paragraph(console, claims.title, style="bold")
    if claims.note:
        _paragraph(console, claims.note)
    _paragraph(console, f"seed {claims.seed} · {claims.file}", style="dim")
    for claim, finding in zip(claims.claims, report.findings, strict=True):
        console.print()
        console.print(Text(heading(finding), style=STYLES[finding.verdict]), Text(claim.name), soft_wrap=True)
        _paragraph(console, f"“{claim.text}”", indent=INDENT)
        _paragraph(console, f"{finding.statement[0].upper()}{finding.statement[1:]}", indent=INDENT)
        _paragraph(console, f"Over: {finding.over}.", indent=INDENT, style="dim")
        _paragraph(console, f"How: {finding.method}.", indent=INDENT, style="dim")
        if finding.needs:
            _paragraph(console, f"To close it: {finding.needs}.", indent=INDENT)
        if finding.counterexample is not None:
            _counterexample(console, finding)
    console.print()
    parts = [f"{report.count(verdict)} {verdict.value}" for verdict in Verdict]
    _paragraph(console, f"{len(claims.claims)} claims: {', '.join(parts)}.", style="bold")
    if report.partial:
        _paragraph(console, "Interrupted: the claims that were not reached are open.", style="bold")
    _paragraph(console, STANDING)
    _paragraph(console, CAUTION)


def heading(finding: Finding) -> str:
    """Return the verdict as a heading: never a bare pass."""
    if finding.verdict is not Verdict.BOUNDED:
        return finding.verdict.value.upper()
    how = {Meets.YES: "within the claim", Meets.NO: "outside the claim", Meets.UNDECIDED: "which does not settle it"}
    return f"BOUNDED, {how[finding.meets]}:"


def fields_text(record: dict[str, Any]) -> str:
    """Return a frame's fields as one line; what is off or not set is left out."""
    shown = {key: value for key, value in record.items() if value is not False and value is not None}
    return ", ".join(f"{key} {value:#x}" if key == "identifier" else f"{key} {value}" for key, value in shown.items())


def _counterexample(console: Console, finding: Finding) -> None:
    example = finding.counterexample
    assert example is not None
    record = example.describe()
    if example.kind == "frame":
        _paragraph(console, f"sent:     {fields_text(record['sent'])}", indent=INDENT)
        _paragraph(console, f"accepted: {fields_text(record['accepted'])}", indent=INDENT)
    if example.flips:
        _paragraph(console, f"flips:    {', '.join(map(str, example.flips))}", indent=INDENT)
    short = [command for command in example.replay if len(command) <= LONGEST_COMMAND] or example.replay[:1]
    for command in short:  # unbroken, so that it can be copied
        console.print(Text(" " * INDENT + command), soft_wrap=True)


def _paragraph(console: Console, text: str, *, indent: int = 0, style: str = "") -> None:
    plain = one_line("".join(" " if mark.isspace() else mark for mark in text))
    joined = plain.replace(" %", f"{_JOINED}%")  # a number is not parted from its sign
    for line in wrap(joined, max(20, console.width - indent)):
        shown = " " * indent + line.replace(_JOINED, " ")
        console.print(Text(shown, style=style), no_wrap=True, overflow="ignore", crop=False)
