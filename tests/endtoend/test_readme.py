"""The README tells the truth: its example runs and prints what it says, its commands exist, its links lead somewhere."""

import pathlib
import re
import subprocess
import sys

import framesim as fs
from framesim.cli.main import COMMANDS

ROOT = pathlib.Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def block(name):
    """Return the fenced text between the markers of ``name``."""
    found = re.search(rf"<!-- {name} -->\n```\w+\n(.*?)```\n<!-- end {name} -->", README, re.DOTALL)
    assert found, name
    return found.group(1)


def test_the_python_example_prints_what_the_readme_says():
    done = subprocess.run([sys.executable, "-c", block("example")], capture_output=True, text=True, check=True)
    assert done.stdout == block("example output")
    assert len(block("example").strip().splitlines()) <= 10


def test_the_example_is_about_ten_lines_and_uses_only_public_names():
    assert set(re.findall(r"fs\.(\w+)", block("example"))) <= set(fs.__all__)


def test_every_command_of_the_table_exists():
    table = README.split("## Commands")[1].split("## ")[0]
    named = set(re.findall(r"^\| `framesim (\w+)", table, re.MULTILINE))
    assert named == set(COMMANDS)


def test_the_networks_named_are_those_there_are():
    sentence = README.split("Networks: ")[1].split(";")[0]
    assert tuple(re.findall(r"`([\w-]+)`", sentence)) == fs.networks()


def test_links_to_files_lead_somewhere():
    for target in re.findall(r"\]\(([^)#:]+)\)", README):
        assert (ROOT / target).exists(), target


def test_the_capture_begins_as_the_command_prints_it_for_a_shorter_run():
    done = subprocess.run(
        [sys.executable, "-m", "framesim", "coverage", "--hours", "0.005"], capture_output=True, text=True, check=True
    )
    labels = [line[:36].rstrip() for line in done.stdout.splitlines() if re.match(r"^[a-z ]{4,}.*\d\s*$", line)]
    captured = block("capture")
    missing = [label for label in labels if label and re.sub(r"\s{2,}.*", "", label) not in captured]
    assert not missing
