"""``framesim residual`` interrupted by Ctrl-C: the curve is kept once it is there, and else one line says it is not."""

import json

from framesim.cli import residual
from framesim.cli.main import main

WORDS = ["residual", "can", "--identifier", "0x1A4", "--payload", "9F", "--bit-error-ratio", "1e-4"]


def pressed(*_arguments, **_settings):
    raise KeyboardInterrupt


def test_before_there_is_a_curve_one_line_says_that_it_was_not_finished(capsys, monkeypatch):
    monkeypatch.setattr(residual, "_measure", pressed)
    assert main(WORDS) == 130
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err == "framesim: residual: interrupted before the curve was finished; nothing to show\n"


def test_while_bursts_are_counted_the_curve_is_kept(capsys, monkeypatch):
    assert main([*WORDS, "--json"]) == 0
    whole = capsys.readouterr().out
    monkeypatch.setattr(residual, "_bursts", pressed)
    assert main([*WORDS, "--bursts", "4", "--json"]) == 130
    told = capsys.readouterr()
    assert json.loads(told.out) == json.loads(whole)
    assert told.err == "framesim: residual: interrupted before the bursts were counted\n"
