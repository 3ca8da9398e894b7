"""``framesim waveform``: what one command writes another reads, with the same flips; slips in one line."""

import io
import json
import pathlib

import numpy as np
import pytest
from scenario_texts import ONE_LINK

from framesim.cli.main import main

ROOT = pathlib.Path(__file__).parents[2]
FRAME = ["can", "--identifier", "0x1A4", "--payload", "9F3C07"]


def told(capsys, *words):
    status = main(["waveform", *words, "--json"])
    said = capsys.readouterr()
    assert status == 0, said.err
    return json.loads(said.out)


def harsh(tmp_path, disturbance):
    """A scenario file whose pair is badly balanced, so that there are flips within milliseconds."""
    before, rest = ONE_LINK.split("[disturbance]")
    text = before.replace('["typical", "fault"]', '["fault"]') if "ignition" in disturbance else before
    if "ignition" not in disturbance:
        text = "\n".join(line for line in text.splitlines() if not line.startswith("severities"))
        rest = rest.replace("[analog]", "")
    rest = rest[rest.index("[signal]") :].replace("[link]", "[link]\nconversion_loss_db = 18.0")
    path = tmp_path / "harsh.toml"
    path.write_text(f"{text}\n[disturbance]\n{disturbance}\n{rest}")
    return str(path)


ENGINE = 'kind = "ignition"\nrestrikes_mean = 10'
TRAIN = 'kind = "pulse-train"\nprofile = "transients_100khz"\npolarity = "{}"'


@pytest.mark.parametrize(
    ("disturbance", "seconds", "ending", "seeds", "fewest"),
    [
        (TRAIN.format("positive"), "0.0009", ".csv", 6, 15),
        (TRAIN.format("negative"), "0.0009", ".npy", 8, 10),
        (ENGINE, "0.005", ".npy", 5, 5),
    ],
)
def test_a_waveform_written_by_one_command_and_read_by_another_gives_the_same_flips(
    disturbance, seconds, ending, seeds, fewest, tmp_path, capsys
):
    scenario, path = harsh(tmp_path, disturbance), str(tmp_path / f"made{ending}")
    where, flips, apart = ["--scenario", scenario], 0, 0
    for seed in range(1, seeds + 1):
        written = told(capsys, "write", path, *FRAME, *where, "--seconds", seconds, "--seed", str(seed))
        extra = ["--rate", "1e8", "--start", repr(written["start_s"])] if ending == ".npy" else []
        read = told(capsys, "read", path, *FRAME, *where, *extra)
        assert read["flips"] == written["flips"]
        assert read["frames"] == written["frames"]
        assert {each["outcome"] for each in read["frames"]} <= {"detected", "delivered", "undetected", "unseen"}
        flips += len(written["flips"])
        apart += len(set(read["toggled"]) ^ set(written["toggled"]))
    assert flips >= fewest
    assert apart <= seeds  # a peak between two samples may just pass a threshold
    assert main(["waveform", "read", path, *FRAME, *where, *extra]) == 0
    assert "straight between samples" in capsys.readouterr().out.replace("\n", " ")


def test_a_common_mode_recording_through_loss_and_low_pass_gives_the_same_flips(tmp_path, capsys):
    """The reader may do what the writer did: turn common mode into difference and smooth it."""
    from framesim.coverage.scenario import load_scenario
    from framesim.disturbance.pulses import Pulses
    from framesim.disturbance.waveform import Waveform
    from framesim.disturbance.waveform_file import write_waveform

    path = harsh(tmp_path, TRAIN.format("positive"))
    scenario = load_scenario(path)
    written = told(capsys, "write", str(tmp_path / "made.csv"), *FRAME, "--scenario", path, "--seconds", "0.0009")
    train, rate = scenario.disturbance, 2e9
    pulses = train.through(scenario.link, written["start_s"] - 1e-5, written["start_s"] + 9e-4, scenario.seed)
    sharp = Pulses.through(
        start_s=pulses.start_s,
        volts=np.full(pulses.start_s.size, train.coupled_volts),
        rise_s=train.published.rise_s,
        decay_s=train.published.decay_s,
        bandwidth_hz=1e12,
    )
    wave = Waveform.of(sharp, start_s=written["start_s"], rate_hz=rate, n_samples=int(9e-4 * rate) + 1)
    write_waveform(str(tmp_path / "common.npy"), wave)
    extra = ["--rate", str(rate), "--start", repr(written["start_s"]), "--loss", "18", "--low-pass", "10e6"]
    read = told(capsys, "read", str(tmp_path / "common.npy"), *FRAME, "--scenario", path, *extra)
    assert read["flips"] == written["flips"]
    assert len(written["flips"]) >= 3


def test_the_demonstration_recording_is_what_its_maker_makes_and_holds_a_flip(tmp_path, capsys, monkeypatch):
    shipped = ROOT / "docs" / "demo" / "spark.csv"
    text = shipped.read_text()
    assert "Invented" in text.splitlines()[0]
    code = (ROOT / "docs" / "demo" / "make_spark.py").read_text()
    monkeypatch.chdir(tmp_path)
    exec(compile(code, "make_spark.py", "exec"), {"__name__": "made", "__file__": str(tmp_path / "make_spark.py")})
    assert (tmp_path / "spark.csv").read_text() == text
    read = told(capsys, "read", str(shipped), *FRAME)
    assert len(read["flips"]) == 1
    assert read["frames"][0]["outcome"] == "detected"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty; expected a line 'time_s,volts'"),
        (b"# only a comment\n\n", "empty; expected"),
        (b"time_s,volts\n", "0 samples; expected two or more"),
        (b"time_s,volts\n0,1\n", "1 samples; expected two or more"),
        (b"0,1\n1e-8,2\n", "line 1: '0,1' does not name the units"),
        (b"time_h,volts\n0,1\n1,2\n", "'time_h,volts' does not name the units; expected time_s or"),
        (b"time_s,amperes\n0,1\n1,2\n", "does not name the units"),
        (b"time_s,volts\n0,1\n1e-8,2\n1e-8,3\n", "line 4: time 1e-08 s does not ascend from 1e-08 s"),
        (b"time_s,volts\n0,1\n2e-8,2\n1e-8,3\n", "line 4: time 1e-08 s does not ascend from 2e-08 s"),
        (b"time_s,volts\n0,1\n1e-8,2\n\n2e-8,1\n9e-8,3\n", "line 6: a gap of 7e-08 s, where samples stand 1e-08 s"),
        (b"time_s,volts\n0,1\n1e-8,nan\n2e-8,1\n", "line 3: nan is not a finite number of volts"),
        (b"time_s,volts\n0,1\n1e-8,inf\n2e-8,1\n", "line 3: inf is not a finite number of volts"),
        (b"time_s,volts\n0,1\nnan,2\n2e-8,1\n", "line 3: time nan is not a finite number"),
        (b"time_s,volts\n0,1\n1e-8,20000\n2e-8,1\n", "line 3: 20000 V is more than 10000 V; are these volts?"),
        (b"time_s,volts\n0,1\n1,2\n2,1\n", "1 samples per second; expected 1000 to"),
        (b"time_s,volts\n0;1\n1e-8;2\n", "line 2: '0;1': expected two numbers, time and volts, with a comma"),
        (b"time_s,volts\n0,1\n1e-8,2,3\n", "line 3: '1e-8,2,3': expected two numbers"),
        (b"time_s,volts\n0,1\nhello\n", "line 3: 'hello': expected two numbers"),
        (b"\x89PNG\r\n\x1a\n\x00\xff\xfe", "not text in UTF-8"),
        (b"\x00\x01\x02\x03" * 50, "does not name the units"),
        (b"time_s,volts\n0,1\n1e-8,2\n2e-8,1\n", "holds no whole bit of 2e-06 s"),
    ],
)
def test_a_csv_file_that_cannot_be_used_is_told_in_one_line(content, words, tmp_path, capsys):
    path = tmp_path / "bad.csv"
    path.write_bytes(content)
    assert main(["waveform", "read", str(path), *FRAME]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert words in said
    if "holds no" not in words:
        assert str(path) in said


def npy_bytes():
    """An array of ten numbers, as numpy.save writes it."""
    kept = io.BytesIO()
    np.save(kept, np.zeros(10))
    return kept.getvalue()


def npy(array, **settings):
    def write(path):
        np.save(path, array, **settings)

    return write


@pytest.mark.parametrize(
    ("write", "extra", "words"),
    [
        (npy(np.zeros(9000)), [], "a .npy file holds volts only; give its sample rate"),
        (npy(np.zeros((9000, 2))), ["--rate", "1e8"], "shape (9000, 2), float64; expected one dimension"),
        (npy(np.zeros(9000, complex)), ["--rate", "1e8"], "expected one dimension of real numbers"),
        (npy(np.array(["a", "b"])), ["--rate", "1e8"], "expected one dimension of real numbers"),
        (
            npy(np.array([{}, 1], object), allow_pickle=True),
            ["--rate", "1e8"],
            "expected one dimension of real numbers",
        ),
        (lambda path: path.write_bytes(npy_bytes()[:-8]), ["--rate", "1e8"], "no NumPy array of numbers"),
        (npy(np.array([0, np.nan, 1])), ["--rate", "1e8"], "sample 1: nan is not a finite number"),
        (npy(np.zeros(1)), ["--rate", "1e8"], "len(volts)=1: must be at least 2"),
        (npy(np.zeros(0)), ["--rate", "1e8"], "len(volts)=0: must be at least 2"),
        (npy(np.zeros(9000)), ["--rate", "0"], "rate_hz=0.0: must be"),
        (npy(np.zeros(9000)), ["--rate", "many"], "--rate='many': expected a number"),
        (lambda path: path.write_bytes(b""), ["--rate", "1e8"], "no NumPy array of numbers"),
        (lambda path: path.write_bytes(b"\x93NUMPY\x01\x00junk"), ["--rate", "1e8"], "no NumPy array of numbers"),
        (lambda path: path.write_bytes(b"PK\x03\x04junk"), ["--rate", "1e8"], "no NumPy array of numbers"),
        (lambda path: path.mkdir(), ["--rate", "1e8"], "is a directory"),
        (lambda path: None, ["--rate", "1e8"], "cannot be read (No such file or directory)"),
    ],
)
def test_a_numpy_file_that_cannot_be_used_is_told_in_one_line(write, extra, words, tmp_path, capsys):
    path = tmp_path / "bad.npy"
    write(path)
    assert main(["waveform", "read", str(path), *FRAME, *extra]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert words in said


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "mode: missing; expected write or read"),
        (["plot"], "mode='plot': expected write or read"),
        (["read"], "file: missing"),
        (["read", "--json"], "file: missing"),
        (["read", "a.csv"], "network: missing"),
        (["read", "a.wav", *FRAME], "expected a name that ends in .csv"),
        (["write", "a.wav", *FRAME], "expected a name that ends in .csv"),
        (["write", "/no/such/folder/a.csv", *FRAME], "cannot be written"),
        (["write", "a.csv", "lin", "--identifier", "1", "--payload", "01"], "network=lin: only frames of one bit rate"),
        (["write", "a.csv", *FRAME, "--severity", "awful"], "--severity='awful': expected one of good"),
        (["write", "a.csv", *FRAME, "--seconds", "100"], "at most 50,000,000 fit"),
        (["write", "a.csv", *FRAME, "--seconds", "0"], "seconds=0.0: must be"),
        (["write", "a.csv", *FRAME, "--rate", "1e99"], "rate_hz=1e+99: must be"),
        (["write", "a.csv", *FRAME, "--resample", "5"], "'--resample': no such option"),
    ],
)
def test_a_slip_on_the_command_line_is_told_in_one_line(words, told, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["waveform", *words]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert told in said
    assert not list(tmp_path.iterdir())


def test_a_channel_without_volts_cannot_be_written(tmp_path, capsys):
    before, rest = ONE_LINK.split("[disturbance]")
    kept = [line for line in before.splitlines() if not line.startswith(("hours", "severities"))]
    signal = rest[rest.index("[signal]") :].replace("[analog]", "")
    path = tmp_path / "scatter.toml"
    path.write_text("\n".join(kept) + f'\n[disturbance]\nkind = "scatter"\nbit_error_ratio = 1e-3\n{signal}')
    assert main(["waveform", "write", str(tmp_path / "a.csv"), *FRAME, "--scenario", str(path)]) == 2
    assert "a channel knows bits, not volts" in capsys.readouterr().err


def test_help_tells_of_both_modes_and_of_the_danger(capsys):
    assert main(["waveform", "--help"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    for words in ("never probe them", "Never build a waveform into hardware", "vehicle that can move"):
        assert words in shown
    assert main(["waveform", "read", "a.csv", "can", "--help"]) == 0
    assert "--low-pass" in capsys.readouterr().out
