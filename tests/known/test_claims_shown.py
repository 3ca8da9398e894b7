"""Claims and findings as people see them: on a terminal, and as a page."""

import io

import pytest
from rich.console import Console

from framesim.claims.checking import decide_all
from framesim.claims.reading import claims_from_text
from framesim.report.claims_page import claims_page
from framesim.report.claims_text import draw_claims

TEXT = """
title = "t"
budget_s = 0.2
[[claim]]
id = "share"
frame = { network = "can", identifier = 5, payload = "010203" }
disturbance = { kind = "ignition", severity = "fault" }
asserts = { kind = "first-to-speak", check = "crc", at_least = 0.99 }
"""


@pytest.fixture(scope="module")
def report():
    return decide_all(claims_from_text(TEXT, file="f"))


@pytest.mark.parametrize("width", [60, 70, 76, 77, 78, 79, 80, 81, 82, 83, 120])
def test_a_percentage_is_never_parted_from_its_number(report, width):
    console = Console(file=io.StringIO(), width=width, color_system=None)
    draw_claims(console, report)
    lines = console.file.getvalue().splitlines()
    assert any("(95 %)" in line for line in lines)
    assert not any(line.lstrip().startswith("%") for line in lines)
    assert all(len(line) <= width for line in lines)


def test_the_page_names_an_engine_and_leaves_its_figures_to_the_record(report):
    record = report.record()
    assert "breakdown_volts" in record["claims"][0]["disturbance"]["knobs"]
    page = claims_page(record)
    row = next(line for line in page.splitlines() if ">disturbance</th>" in line)
    assert "kind ignition" in row
    assert "severity fault" in row
    assert "knobs: see evidence.json" in row
    assert len(row) < 1000  # of some six thousand
    assert "breakdown_volts" not in page


def test_the_page_tells_what_would_settle_a_claim(report):
    record = report.record()
    record["claims"][0]["needs"] = "more <frames>"
    assert '<tr><th scope="row">to close it</th><td>more &lt;frames&gt;</td></tr>' in claims_page(record)
