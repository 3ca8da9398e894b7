"""The README tells the truth: its example prints what it says, its commands exist, its links lead somewhere."""

import os
import pathlib
import re
import subprocess
import sys

import pytest

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


@pytest.mark.slow
def test_the_capture_is_what_the_command_prints():
    settings = {**os.environ, "COLUMNS": "80"}
    command = [sys.executable, "-m", "framesim", "coverage"]
    done = subprocess.run(command, capture_output=True, text=True, check=True, env=settings)
    assert [line.rstrip() for line in done.stdout.splitlines()] == block("capture").splitlines()


def test_the_capture_has_the_rows_that_the_command_prints_for_a_shorter_run():
    command = [sys.executable, "-m", "framesim", "coverage", "--hours", "0.005"]
    done = subprocess.run(command, capture_output=True, text=True, check=True, env={**os.environ, "COLUMNS": "80"})
    labels = {re.split(r"\s{2,}", line.strip())[0] for line in done.stdout.splitlines() if re.search(r"\d$", line)}
    captured = block("capture")
    assert len(labels) > 10
    assert not [label for label in labels if label not in captured]
