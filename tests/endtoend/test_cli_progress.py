"""The progress bar: nothing is lost on its way through it, and nothing is said to a pipe."""

import sys

import pytest

from framesim.cli import output


@pytest.mark.parametrize("slow", [False, True])
@pytest.mark.parametrize("terminal", [False, True])
def test_everything_watched_comes_through_once_and_in_order(monkeypatch, capsys, slow, terminal):
    monkeypatch.setattr(output, "_SILENT_SECONDS", -1.0 if slow else 60.0)
    monkeypatch.setattr(sys.stderr, "isatty", lambda: terminal)
    assert list(output.watched(range(50), "judging flips")) == list(range(50))
    said = capsys.readouterr()
    assert said.out == ""
    assert bool(said.err) == (slow and terminal)
    assert ("judging flips" in said.err) == (slow and terminal)


def test_watching_nothing_is_no_trouble():
    assert list(output.watched([], "judging flips")) == []
