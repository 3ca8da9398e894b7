"""The examples of docs/codes.md, and of the docstrings of framesim.codes, give what they say."""

import doctest
import importlib
import pathlib
import pkgutil

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
