"""A published pulse train as the disturbance of a scenario file."""

import json
import pathlib

import jsonschema
import pytest
from scenario_texts import ONE_LINK

from framesim.cli.main import main
from framesim.coverage.scenario import load_scenario

ROOT = pathlib.Path(__file__).parents[2]


def scenario_text(**extra):
    before, rest = ONE_LINK.split("[disturbance]")
    signal = rest[rest.index("[signal]") :]
    before = "\n".join(line for line in before.splitlines() if not line.startswith("severities"))
    keys = "".join(f"{name} = {json.dumps(value)}\n" for name, value in extra.items())
    return f'{before}\n[disturbance]\nkind = "pulse-train"\n{keys}\n{signal.replace("[analog]", "")}'


def test_a_pulse_train_disturbs_the_frames_and_is_not_called_an_ignition(tmp_path, capsys):
    path = tmp_path / "train.toml"
    path.write_text(scenario_text(profile="transients_100khz", coupled_volts=150.0))
    assert main(["coverage", str(path), "--hours", "0.05", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    jsonschema.validate(told, json.loads((ROOT / "docs/coverage.schema.json").read_text()))
    (link,) = told["links"]
    assert (link["link"], link["column"]) == ("can", "transients_100khz")
    assert link["funnel"]["touched"] > link["funnel"]["flipped"] > 0
    assert told["disturbance"]["transients_100khz"]["source"]["kind"] == "pulse_train"
    assert any("buy the standards" in note for note in told["notes"])
    assert main(["coverage", str(path), "--hours", "0.05"]) == 0
    drawn = capsys.readouterr().out
    assert "5/50 ns pulses at 100 kHz" in drawn
    assert "at 3" not in drawn.split("disturbed")[0]  # no engine speed


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda text: text.replace("hours = 1.0", "frames = 5"), "frames: does nothing under a pulse train"),
        (lambda text: text + "\n[analog]\nbits = 8\n", "analog: does nothing under a pulse train"),
        (lambda text: text.replace("5khz", "6khz"), "disturbance.profile: expected one of"),
        (lambda text: text.replace("[signal]", "level = 4\n[signal]", 1), "disturbance.level: unknown key"),
    ],
)
def test_a_slip_is_told_in_one_line(change, words, tmp_path, capsys):
    path = tmp_path / "train.toml"
    path.write_text(change(scenario_text(profile="transients_5khz")))
    assert main(["coverage", str(path)]) == 2
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1


def test_the_engine_keeps_its_own_disturbance():
    assert load_scenario(None).by_engine
    assert load_scenario(None).by_time
