"""The examples of docs/codes.md, and of the docstrings of framesim.codes, give what they say."""

import doctest
import importlib
import pathlib
import pkgutil
import subprocess
import sys

import pytest

import framesim.codes

ROOT = pathlib.Path(__file__).parents[2]
MODULES = [f"framesim.codes.{module.name}" for module in pkgutil.iter_modules(framesim.codes.__path__)]


def test_the_examples_on_the_page_run():
    found = doctest.testfile(str(ROOT / "docs" / "codes.md"), module_relative=False, encoding="utf-8")
    assert found.failed == 0
    assert found.attempted >= 8


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_in_the_docstrings_run(name):
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_every_code_of_the_catalogue_is_on_the_page():
    page = (ROOT / "docs" / "codes.md").read_text(encoding="utf-8")
    assert [name for name in framesim.codes.names() if f"`{name}`" not in page] == []


def test_computing_a_crc_needs_no_numbers_library():
    words = "import sys, framesim.codes as c; c.crc('CRC-15/CAN').of([1, 0]); print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, timeout=60, check=True)
    assert not {"numpy", "mpmath", "numba", "scipy", "rich"} & set(done.stdout.split())
