"""``framesim fit``: from flips to a channel file that ``framesim residual`` takes; slips in one line."""

import dataclasses
import json

import pytest
from interrupting import interrupted_after
from scenario_texts import ONE_LINK

from framesim.cli.main import main
from framesim.coverage import value_course as course_module
from framesim.coverage.channel_file import load_channel
from framesim.coverage.fit import fitting, flip_record
from framesim.coverage.scenario import load_scenario
from framesim.coverage.value_course import value_course
from framesim.disturbance import CanLink, RecordedWaveform

FRAME = ["can", "--identifier", "0x1A4", "--payload", "9F3C07"]


def flips_file(tmp_path, **keys):
    path = tmp_path / "flips.json"
    bursts = [1000 * number + offset for number in range(1, 60) for offset in (0, 3)]
    path.write_text(json.dumps({"bits": 100_000, "flips": bursts} | keys))
    return str(path)


@pytest.mark.parametrize(("way", "kind"), [("moments", "gilbert_elliott"), ("batches", "markov"), ("state", None)])
def test_a_fitted_channel_feeds_residual(way, kind, tmp_path, capsys):
    active = [[1000 * number - 5, 1000 * number + 12] for number in range(1, 60)]
    path, out = flips_file(tmp_path, active=active), str(tmp_path / "channel.toml")
    assert main(["fit", path, "--guard", "50", "--out", out, "--by", way, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["guard_distance"] == 50
    assert told["bursts"]["by_flips"] == {"2": 59}
    (found,) = [each for each in told["fits"] if each["way"] == way]
    assert found["channel"]["kind"] == (kind or "gilbert_elliott")
    assert 0 < found["gaps"]["distance"] < 1
    assert load_channel(out).bit_error_ratio == pytest.approx(found["bit_error_ratio"])
    assert main(["residual", "can", "--identifier", "0x1A4", "--channel", out, "--json"]) == 0
    assert "exact" in capsys.readouterr().out


def test_flips_of_a_recording_can_be_fitted(tmp_path, capsys):
    before, rest = ONE_LINK.split("[disturbance]")
    before = "\n".join(line for line in before.splitlines() if not line.startswith("severities"))
    rest = rest[rest.index("[signal]") :].replace("[link]", "[link]\nconversion_loss_db = 10.0").replace("[analog]", "")
    train = '[disturbance]\nkind = "pulse-train"\nprofile = "transients_100khz"'
    scenario = tmp_path / "train.toml"
    scenario.write_text(f"{before}\n{train}\n{rest}")
    wave = str(tmp_path / "wave.npy")
    where = ["--scenario", str(scenario)]
    assert main(["waveform", "write", wave, *FRAME, *where, "--seconds", "0.0009", "--json"]) == 0
    start = json.loads(capsys.readouterr().out)["start_s"]
    read = ["waveform", "read", wave, *FRAME, *where, "--rate", "1e8", "--start", repr(start), "--json"]
    assert main(read) == 0
    flips = tmp_path / "flips.json"
    flips.write_text(capsys.readouterr().out)
    told = json.loads(flips.read_text())
    assert len(told["active"]) == 1  # one burst of the train
    assert main(["fit", str(flips), "--json"]) == 0
    fit = json.loads(capsys.readouterr().out)
    assert fit["flips"] == len(told["flips"])
    assert fit["bits"] == told["bits"] == 450
    assert [each["way"] for each in fit["fits"]] == ["state", "moments", "batches"]


def test_without_a_file_an_engine_runs_and_the_guard_distance_is_printed(capsys):
    assert main(["fit", "--seconds", "20"]) == 0
    drawn = " ".join(capsys.readouterr().out.split())
    assert "ignition, fault, 2950 rpm, 20 s" in drawn
    assert "Guard distance" in drawn
    assert "no probability goes with it" in drawn
    for title in ("by state", "by moments", "batch-Poisson"):
        assert title in drawn


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "not JSON; expected a JSON object with bits"),
        (b"\xff\xfe\x00", "not text in UTF-8"),
        (b"[1, 2]", "expected a JSON object with bits"),
        (b"[" * 50_000, "not JSON; expected"),
        (b'{"flips": [1]}', "bits: missing"),
        (b'{"bits": 10}', "flips: missing"),
        (b'{"bits": 10.5, "flips": []}', "bits: expected a whole number, got 10.5"),
        (b'{"bits": 10, "flips": "1, 2"}', "flips: expected a list of"),
        (b'{"bits": 10, "flips": [1, 2.5]}', "flips: expected a list of"),
        (b'{"bits": 10, "flips": [3, 2, 1]}', "flips: must ascend without repeats within 0..9"),
        (b'{"bits": 10, "flips": [1, 99999999999999999999999]}', "flips: must lie within"),
        (b'{"bits": 0, "flips": []}', "n_bits=0: must lie in"),
        (b'{"bits": 10, "flips": [1], "active": [[5, 2]]}', "active: must be stretches"),
        (b'{"bits": 10, "flips": [1], "active": 7}', "active: expected a list of"),
        (b'{"bits": 1000, "flips": [1, 2]}', "flips: 2 in 1,000 bits are too few to fit"),
    ],
)
def test_a_file_that_cannot_be_used_is_told_in_one_line(content, words, tmp_path, capsys):
    path = tmp_path / "flips.json"
    path.write_bytes(content)
    assert main(["fit", str(path)]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert words in said


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["/no/such/file.json"], "cannot be read"),
        (["--by", "luck"], "--by='luck': expected one of state, moments, batches"),
        (["--by", "state"], "--by: says which channel --out writes"),
        (["--seconds", "x"], "--seconds='x': expected a number"),
        (["--seconds", "-1"], "seconds=-1.0: must be"),
        (["--seconds", "1e9"], "seconds=1000000000.0: must be"),
        (["--severity", "mild"], "--severity='mild': expected one of"),
        (["--guard", "0", "--seconds", "5"], "guard=0: must lie in 1.."),
        (["--severity", "good", "--seconds", "1"], "flips: 0 in 500,000 bits are too few to fit"),
        (["--confidence", "2", "--seconds", "5"], "confidence=2.0: must be"),
    ],
)
def test_a_slip_on_the_command_line_is_told_in_one_line(words, told, capsys):
    assert main(["fit", *words]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert told in said


def test_a_way_that_the_flips_do_not_allow_and_a_place_that_cannot_be_written(tmp_path, capsys):
    path = flips_file(tmp_path)
    assert main(["fit", path, "--out", str(tmp_path / "a.toml"), "--by", "state"]) == 2
    assert "do not say when the cause was at work" in capsys.readouterr().err
    assert main(["fit", path, "--seconds", "3"]) == 2
    assert "--seconds: stands only without a file" in capsys.readouterr().err
    assert main(["fit", path, "--out", "/no/such/folder/a.toml"]) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_an_interruption_fits_the_flips_that_were_drawn(capsys, monkeypatch):
    assert main(["fit", "--seconds", "20", "--json"]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert whole["partial"] is False
    walk = CanLink.walk
    monkeypatch.setattr(CanLink, "walk", interrupted_after(walk, 1))  # pieces are 20 s long
    assert main(["fit", "--seconds", "50", "--json"]) == 130
    kept = json.loads(capsys.readouterr().out)
    assert kept == {**whole, "partial": True}
    monkeypatch.setattr(CanLink, "walk", interrupted_after(walk, 1))
    assert main(["fit", "--seconds", "50"]) == 130
    drawn = " ".join(capsys.readouterr().out.split())
    assert "2950 rpm, 20 s at" in drawn
    assert "Partial: the run was interrupted." in drawn


def test_a_fit_interrupted_with_too_little_to_fit_says_so(capsys, monkeypatch):
    monkeypatch.setattr(CanLink, "walk", interrupted_after(CanLink.walk, 0))
    assert main(["fit", "--seconds", "5"]) == 130
    told = capsys.readouterr()
    assert (told.out, told.err) == (
        "",
        "framesim: fit: interrupted before anything was finished; nothing to show\n",
    )
    monkeypatch.undo()
    monkeypatch.setattr(flip_record, "WINDOW_S", 0.5)
    monkeypatch.setattr(CanLink, "walk", interrupted_after(CanLink.walk, 1))
    assert main(["fit", "--severity", "good", "--seconds", "5"]) == 130
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.startswith("framesim: fit: interrupted; flips: 0 in 250,000 bits are too few to fit")
    assert told.err.count("\n") == 1


def test_an_interruption_keeps_the_channels_that_were_fitted(tmp_path, capsys, monkeypatch):
    path, out = flips_file(tmp_path, active=[[995, 1012]]), tmp_path / "channel.toml"
    monkeypatch.setattr(fitting, "_batches_fit", interrupted_after(fitting._batches_fit, 0))
    assert main(["fit", path, "--out", str(out), "--json"]) == 130
    told = json.loads(capsys.readouterr().out)
    assert [each["way"] for each in told["fits"]] == ["state", "moments"]
    assert told["partial"] is True
    assert load_channel(str(out)).describe()["kind"] == "gilbert_elliott"
    out.unlink()
    assert main(["fit", path, "--out", str(out), "--by", "batches"]) == 130
    told = capsys.readouterr()
    assert told.err == f"framesim: {out}: not written; interrupted before the channel by batches was fitted\n"
    assert "by moments" in told.out
    assert "holds the channel" not in told.out
    assert not out.exists()


def test_the_flips_drawn_do_not_depend_on_the_pieces(monkeypatch):
    case = dataclasses.replace(load_scenario(None), severities=("fault",))
    whole = flip_record.draw_flips(case, 11)
    monkeypatch.setattr(flip_record, "WINDOW_S", 2.7)
    assert flip_record.draw_flips(case, 11).flips.tolist() == whole.flips.tolist()
    assert whole.flips.size


def test_a_channel_that_cannot_be_written_costs_nothing_of_the_fit(tmp_path, capsys):
    path, out = flips_file(tmp_path), str(tmp_path / "none" / "channel.toml")
    assert main(["fit", path, "--json"]) == 0
    whole = capsys.readouterr().out
    assert main(["fit", path, "--json", "--out", out]) == 2
    told = capsys.readouterr()
    assert (told.out, told.err) == (whole, f"framesim: {out}: cannot be written (No such file or directory)\n")


def test_flips_that_say_no_state_are_to_blame_also_when_the_fit_was_interrupted(tmp_path, capsys, monkeypatch):
    path, out = flips_file(tmp_path), tmp_path / "channel.toml"
    words = ["fit", path, "--json", "--out", str(out), "--by", "state"]
    blamed = "framesim: --by=state: these flips do not say when the cause was at work; take moments or batches\n"
    assert main(words) == 2
    assert capsys.readouterr().err == blamed
    monkeypatch.setattr(fitting, "_batches_fit", interrupted_after(fitting._batches_fit, 0))
    assert main(words) == 130
    told = capsys.readouterr()
    assert told.err == blamed
    assert [each["way"] for each in json.loads(told.out)["fits"]] == ["moments"]
    assert not out.exists()


def test_a_recording_longer_than_the_pieces_is_gone_through_once(tmp_path, monkeypatch):
    times = [f"{number * 1e-6:.6f},{2.5 * (number % 40 < 3)}" for number in range(3000)]
    (tmp_path / "wave.csv").write_text("\n".join(["time_s,volts", *times]))
    before, rest = ONE_LINK.split("[disturbance]")
    before = "\n".join(line for line in before.splitlines() if not line.startswith(("severities", "hours")))
    rest = rest[rest.index("[signal]") :].replace("[analog]", "").replace("every_s = 0.010", "every_s = 0.001")
    (tmp_path / "wave.toml").write_text(f'{before}\n[disturbance]\nkind = "waveform"\nfile = "wave.csv"\n{rest}')
    case, walked, real = load_scenario(str(tmp_path / "wave.toml")), [], RecordedWaveform.walk

    def walk(self, link, first, stop, *others, **more):
        walked.append((first, stop))
        return real(self, link, first, stop, *others, **more)

    monkeypatch.setattr(RecordedWaveform, "walk", walk)
    whole = flip_record.draw_flips(case, 1)
    course = value_course(case, seconds=0.003)
    for module in (flip_record, course_module):
        monkeypatch.setattr(module, "WINDOW_S", 0.0005)
    assert flip_record.draw_flips(case, 1).flips.tolist() == whole.flips.tolist()
    assert value_course(case, seconds=0.003).links["can"].fate.tolist() == course.links["can"].fate.tolist()
    assert whole.flips.size
    assert len(walked) == 4
