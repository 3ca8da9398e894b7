"""The networks' pages in the docs show the format as the code has it."""

import ast
import re
from pathlib import Path

import pytest

import framesim as fs
from framesim.networks import network
from framesim.report.format_page import field_table, layout_block, networks_shown, receiver_diagram, regenerated
from framesim.words import Check, Outcome

DOCS = Path(__file__).resolve().parents[2] / "docs"
PAGES = {path.stem: path.read_text(encoding="utf-8") for path in sorted((DOCS / "networks").glob("*.md"))}


@pytest.mark.parametrize("page", PAGES.values(), ids=PAGES.keys())
def test_the_generated_parts_of_a_page_are_up_to_date(page):
    assert regenerated(page) == page, "run: python docs/make_pages.py"


def test_every_network_has_its_format_on_some_page():
    assert set(fs.networks()) <= {name for page in PAGES.values() for name in networks_shown(page)}


def test_a_generated_part_is_made_anew_and_the_rest_is_left_alone():
    page = "before\n<!-- generated: layout can -->\nstale\n<!-- end generated -->\nafter\n"
    fresh = regenerated(page)
    assert fresh.startswith("before\n<!-- generated: layout can -->\n")
    assert fresh.endswith("<!-- end generated -->\nafter\n")
    assert layout_block(network("can")) in fresh
    assert "stale" not in fresh
    assert regenerated(fresh) == fresh
    with pytest.raises(fs.BadArgument, match="network='cam': must be one of"):
        regenerated(page.replace("layout can", "layout cam"))


def test_the_can_table_says_what_guards_each_field():
    rows = [
        [cell.strip() for cell in line.split("|")[1:-1]] for line in field_table(network("can").layout).splitlines()
    ]
    table = {row[0]: dict(zip(rows[0], row, strict=True)) for row in rows[2:]}
    assert list(table) == [field.name for field in network("can").layout.fields]
    assert table["identifier"]["guarded by"] == "stuffing, crc"
    assert table["CRC"]["value"] == "CRC-15/CAN over SOF … data"
    assert table["EOF"]["value"] == "always 111111"
    assert table["ACK slot"]["guarded by"] == "nothing"
    assert table["identifier extension"]["bits"] == "18 (extended)"
    assert table["data"]["bits"] == "depends, whole bytes (with data)"


@pytest.mark.parametrize("name", fs.networks())
def test_every_table_has_all_its_cells_and_every_diagram_all_its_states(name):
    lines = field_table(network(name).layout).splitlines()
    assert len({len(re.split(r"(?<!\\)\|", line)) for line in lines}) == 1
    assert len(lines) == len(network(name).layout.fields) + 2
    assert receiver_diagram(network(name)).count("state ") == len(network(name).transitions)


def test_every_outcome_and_check_is_explained_in_the_glossary():
    words = (DOCS / "words.md").read_text(encoding="utf-8")
    for word in (*Outcome, *Check):
        assert f"| `{word.value}` |" in words


def test_every_page_is_in_the_index_and_every_link_leads_somewhere():
    index = (DOCS / "README.md").read_text(encoding="utf-8")
    linked = {(DOCS / target).resolve() for target in re.findall(r"\]\(([^)#]+)\)", index)}
    assert all(path.exists() for path in linked), sorted(str(path) for path in linked if not path.exists())
    assert set(DOCS.rglob("*.md")) - {DOCS / "README.md"} <= linked


@pytest.mark.parametrize("page", PAGES.values(), ids=PAGES.keys())
def test_the_samples_on_a_page_run_and_their_comparisons_hold(page):
    samples = re.findall(r"```python\n(.*?)```", page, re.DOTALL)
    assert samples
    names = {}
    for sample in samples:
        for statement in ast.parse(sample).body:
            if isinstance(statement, ast.Expr):
                value = eval(compile(ast.Expression(statement.value), "sample", "eval"), names)
                assert value is not False, ast.unparse(statement)
            else:
                exec(compile(ast.Module([statement], []), "sample", "exec"), names)
