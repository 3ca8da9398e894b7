"""What a challenge found, for a terminal: one block a rule broken, the most telling first."""

import json

from rich.console import Console
from rich.text import Text

from framesim.challenge.report import Finding, Report
from framesim.claims.wording import counted
from framesim.plain import one_line
from framesim.report.terminal import paragraph

__all__ = ["draw_challenge"]

_LISTED = 8
_LONGEST_WIRE = 200  # longer ones stand in the file alone


def draw_challenge(console: Console, report: Report, *, file: str | None) -> None:
    """Draw a report.

    Args:
        console: where to.
        report: what was found.
        file: the file that holds all of it, if there is one.
    """
    cases = counted(report.asked, "case")
    head = f"{report.network}, {report.mode}: {cases} (seed {report.seed})"
    if report.clean:
        console.print(Text(f"{head}. Every answer was right."))
        return
    rules = len(report.findings)
    if not rules:
        console.print(Text(f"{head}. Every answer so far was right."))
    else:
        console.print(Text(f"{head}: {rules} {'rule' if rules == 1 else 'rules'} broken.", style="bold"))
    for number, finding in enumerate(report.findings[:_LISTED], 1):
        console.print()
        _draw(console, number, finding)
    console.print()
    if rules > _LISTED:
        console.print(Text(f"{rules - _LISTED} more kinds of wrong answer; often they follow from the first ones."))
    if report.stopped:
        console.print(Text(f"Stopped before all was asked: {report.stopped}."))
    if file is not None:
        console.print(Text(f"All of it, case by case: {file}"))


def _draw(console: Console, number: int, finding: Finding) -> None:
    where = f" {finding.where}" if finding.where else ""
    times = "" if finding.case is None else f" ({counted(finding.count, 'case')})"
    paragraph(console, f"{number}. It {finding.rule}{where}{times}.", hang=3, style="bold")
    if finding.want is not None:
        _told(console, "   right: ", finding.want.record())
    if finding.got is not None:
        _told(console, "   yours: ", finding.got)
    place = _first_difference(finding)
    if place is not None:
        console.print(Text(f"   they differ first at bit {place}, counted from 0"))
    if finding.origin and finding.case is not None:
        paragraph(console, f"   first met as: {finding.origin}", hang=6, style="dim")
    if finding.case is not None:
        if len(finding.case.bits) <= _LONGEST_WIRE:
            console.print(Text(f"   {finding.replay()}"), soft_wrap=True)
        else:
            console.print(Text(f"   a wire of {len(finding.case.bits):,} bits; see the file"))


def _told(console: Console, head: str, told: object) -> None:
    """Write an answer; bits on one line, so that two rows of them stand below each other and can be copied."""
    if _is_bits(told):
        console.print(Text(f"{head}{_answer(told)}"), soft_wrap=True)
    else:
        paragraph(console, f"{head}{_answer(told)}", hang=len(head))


def _is_bits(told: object) -> bool:
    return isinstance(told, dict) and list(told) == ["bits"] and isinstance(told["bits"], str)


def _first_difference(finding: Finding) -> int | None:
    """Return the first bit in which two answers of bits differ, or at which the shorter ends."""
    if finding.want is None or not _is_bits(finding.got) or not finding.want.bits:
        return None
    assert isinstance(finding.got, dict)
    right, yours = finding.want.bits, finding.got["bits"]
    ends = min(len(right), len(yours))
    return next((place for place in range(ends) if right[place] != yours[place]), ends)


def _answer(told: object) -> str:
    if not isinstance(told, dict):
        return one_line(str(told)[:_LONGEST_WIRE])
    said = one_line(", ".join(f"{key} {_value(value)}" for key, value in told.items()))
    return said if len(said) <= _LONGEST_WIRE else f"{said[:_LONGEST_WIRE]} ..."


def _value(value: object) -> str:
    return value or "empty" if isinstance(value, str) else json.dumps(value, default=str)
