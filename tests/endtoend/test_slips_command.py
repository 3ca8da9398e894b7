"""``framesim slips``: both kinds of answer, for people and for machines; slips of the typist in one line."""

import json

import pytest
from interrupting import interrupted_after

from framesim.cli.main import main
from framesim.coverage import slip_study, spark_slips


def test_the_shares_are_told_with_limits_and_an_example(capsys):
    assert main(["slips", "--frames", "80", "--seed", "2", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["seed"] == 2
    rows = {(row["network"], row["pattern"]): row for row in told["slips"]}
    assert len(rows) == 9
    for row in rows.values():
        assert 0 <= row["low"] < row["high"] <= 1
        assert row["method"] == "Clopper-Pearson"
        assert sum(row["outcomes"].values()) == 80
        assert row["probability"] is None or row["probability"] > 0
    assert rows["can-fd-original", "start"]["example"]["accepted_identifier"] is not None
    assert rows["can-fd", "start"]["probability"] is None
    assert main(["slips", "--frames", "80", "--seed", "2"]) == 0
    drawn = capsys.readouterr().out
    assert "none seen" in drawn
    assert "original format of 2012" in drawn
    assert max(map(len, drawn.splitlines())) <= 120


def test_slips_that_sparks_make_are_counted(capsys):
    assert main(["slips", "--sparks", "1500", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["frames"] == 1500
    assert told["severity"] == "fault"
    assert told["toggled"] >= told["disturbed_fixed"] > 0
    assert main(["slips", "--sparks", "300", "--severity", "good"]) == 0
    assert "none seen (below" in capsys.readouterr().out


def test_an_interruption_keeps_what_was_tried(capsys, monkeypatch):
    monkeypatch.setattr(slip_study, "_tried", interrupted_after(slip_study._tried, 130))
    assert main(["slips", "--frames", "100", "--json"]) == 130
    rows = json.loads(capsys.readouterr().out)["slips"]
    assert [(row["frames"], row["partial"]) for row in rows] == [(100, False), (30, True)]
    monkeypatch.setattr(slip_study, "_tried", interrupted_after(slip_study._tried, 0))
    assert main(["slips", "--frames", "100"]) == 130
    assert "Partial: the run was interrupted" in capsys.readouterr().out


def test_an_interruption_keeps_the_frames_that_were_sent(capsys, monkeypatch):
    monkeypatch.setattr(spark_slips, "_spark_part", interrupted_after(spark_slips._spark_part, 1))
    assert main(["slips", "--sparks", "5000"]) == 130
    drawn = capsys.readouterr().out
    assert "Partial: the run was interrupted" in drawn
    assert "1,024 frames beside the engine" in drawn
    monkeypatch.setattr(spark_slips, "_spark_part", interrupted_after(spark_slips._spark_part, 0))
    assert main(["slips", "--sparks", "5000"]) == 130
    assert "0 frames beside the engine" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--frames", "0"], "frames=0: must lie in 1.."),
        (["--frames", "x"], "--frames='x': expected a whole number"),
        (["--payload-bytes", "12"], "payload_bytes=12: must lie in 0..8"),
        (["--confidence", "1"], "confidence=1.0: must be"),
        (["--jump", "2"], "--jump: stands only beside --sparks"),
        (["--sparks", "10", "--frames", "10"], "--frames: does nothing beside --sparks"),
        (["--sparks", "10", "--jump", "4"], "jump=4: must not exceed the 2 of 16 quanta"),
        (["--sparks", "10", "--severity", "bad"], "--severity='bad': expected one of"),
        (["--sparks", "10", "--scenario", "/no/such.toml"], "cannot be read"),
        (["can"], "'can': a word too many"),
    ],
)
def test_a_slip_on_the_command_line_is_told_in_one_line(words, told, capsys):
    assert main(["slips", *words]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert told in said
