"""``framesim residual`` as a process."""

import csv
import io
import json
import os
import subprocess
import sys

import pytest

import framesim as fs
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.patterns import undetected_patterns

COMMAND = [sys.executable, "-m", "framesim", "residual"]
# A frame with two undetected pairs and two undetected triples, as brute force says too.
FRAME = ("can", "--identifier", "0x482", "--payload", "F82231D28AEBC714")


def run(*words, **settings):
    return subprocess.run([*COMMAND, *words], capture_output=True, text=True, timeout=300, check=False, **settings)


def test_one_frame_is_exact_and_carried_by_its_undetected_pairs():
    done = run(*FRAME, "--bit-error-ratio", "1e-6", "--frames-per-second", "100", "--json")
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    (link,) = answer["links"]
    assert link["method"] == "exact"
    assert link["patterns"]["2"] == 2
    assert link["patterns"]["3"] == 2
    assert link["probability"] == pytest.approx(2e-12, rel=1e-3)  # two pairs at p^2, the rest of the bits untouched
    assert link["low"] == link["probability"] <= link["high"]
    assert link["per_hour"]["rate"] == pytest.approx(link["probability"] * 360_000)
    assert link["shares"]["2"] > 0.999
    total = link["probability"] + link["delivered"] + link["unseen"] + sum(link["by_check"].values())
    assert total == pytest.approx(1)


def test_a_counted_pair_replays_through_the_judge():
    sent = fs.encode(fs.CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714")))
    pairs = undetected_patterns(line_of(sent), 2)
    assert len(pairs) == 2
    for pattern in pairs:
        assert fs.judge(sent, sent.flipped(pattern.flips)).outcome is fs.Outcome.UNDETECTED


def test_a_sweep_is_written_as_a_curve_that_rises(tmp_path):
    plot = tmp_path / "curve.csv"
    done = run(*FRAME, "--sweep", "1e-8:1e-2", "--per-decade", "2", "--plot-data", str(plot))
    assert done.returncode == 0, done.stderr
    rows = list(csv.DictReader(io.StringIO(plot.read_text(encoding="utf-8"))))
    assert [float(row["bit_error_ratio"]) for row in rows][::2] == pytest.approx([10.0**n for n in range(-8, -1)])
    values = [float(row["probability"]) for row in rows]
    assert values == sorted(values)
    assert values[0] == pytest.approx(2e-16, rel=1e-3)


def test_random_payloads_give_a_mean_with_its_interval_and_repeat():
    words = ("can", "--payload-bytes", "1", "--bit-error-ratio", "1e-3", "--budget", "3s", "--json")
    first, again = run(*words), run(*words)
    assert first.returncode == 0, first.stderr
    assert first.stdout == again.stdout
    (link,) = json.loads(first.stdout)["links"]
    assert link["method"] == "stratified"
    assert link["frames"] > 100
    assert 0 <= link["low"] <= link["high"] < 1e-3
    assert link["confidence"] == 0.95


@pytest.mark.parametrize("columns", ["80", "120"])
def test_the_screen_fits_the_width_and_says_how_it_was_obtained(columns):
    done = run(*FRAME, "--bit-error-ratio", "1e-4", env={**os.environ, "COLUMNS": columns, "NO_COLOR": "1"})
    assert max(map(len, done.stdout.splitlines())) <= int(columns)
    assert "exact: every flip pattern summed" in " ".join(done.stdout.split())
    assert "never the case itself" in " ".join(done.stdout.split())


def test_a_channel_with_memory_and_one_from_a_file_agree(tmp_path):
    mine = tmp_path / "mine.toml"
    mine.write_text(
        'kind = "gilbert-elliott"\ngood_to_bad = 1e-3\nbad_to_good = 0.2\ngood_error = 0\nbad_error = 0.5\n',
        encoding="utf-8",
    )
    short = ("can", "--identifier", "1", "--json")
    typed = run(*short, "--gilbert-elliott", "1e-3,0.2,0,0.5")
    filed = run(*short, "--channel", str(mine))
    assert typed.returncode == 0, typed.stderr
    assert json.loads(typed.stdout)["links"] == json.loads(filed.stdout)["links"]


def test_lin_is_exact_too():
    done = run("lin", "--identifier", "0x21", "--payload", "4A55", "--bit-error-ratio", "1e-3", "--json")
    assert done.returncode == 0, done.stderr
    (link,) = json.loads(done.stdout)["links"]
    assert 0 < link["probability"] < 1e-3


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((*FRAME,), "required"),
        ((*FRAME, "--sweep", "1e-1:1e-8"), "--sweep HIGH"),
        ((*FRAME, "--sweep", "1e-8"), "expected LOW:HIGH"),
        ((*FRAME, "--bit-error-ratio", "2"), "bit_error_ratio=2"),
        ((*FRAME, "--bit-error-ratio", "nan"), "bit_error_ratio=nan"),
        ((*FRAME, "--gilbert-elliott", "1,2"), "expected 4 numbers"),
        ((*FRAME, "--payload-bytes", "3", "--bit-error-ratio", "1e-3"), "--payload"),
        (("lin", "--identifier", "1", "--payload-bytes", "3", "--bit-error-ratio", "1e-3"), "can alone"),
        ((*FRAME, "--channel", "none.toml"), "none.toml: cannot be read"),
        (("can", "--payload-bytes", "2", "--bit-error-ratio", "1e-3", "--target", "x%"), "--target='x'"),
    ],
)
def test_bad_input_is_one_line_and_exit_status_2(words, told):
    done = run(*words)
    assert done.returncode == 2
    assert told in done.stderr
    assert done.stderr.count("\n") == 1


def test_the_worst_payload_found_is_told_with_how_it_was_found():
    done = run(
        "can", "--payload-bytes", "8", "--worst-payload", "2", "--tries", "1500", "--bit-error-ratio", "1e-6", "--json"
    )
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert answer["subject"]["chosen"].startswith("the worst found of ")
    assert "there may be worse" in answer["subject"]["chosen"]
    assert answer["links"][0]["patterns"]["2"] >= 1


def test_a_list_of_payloads_is_summed_whole(tmp_path):
    listed = tmp_path / "payloads.txt"
    listed.write_text("# two of them\n01 3\n0203\n", encoding="utf-8")
    done = run("can", "--identifier", "0x123", "--payloads", str(listed), "--bit-error-ratio", "0.01", "--json")
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert (answer["subject"]["kind"], answer["subject"]["frames"]) == ("listed", 2)
    assert answer["subject"]["first"]["payload"] == "01"
    one, two = (
        fs.residual(fs.CanFrame(identifier=0x123, payload=payload), fs.Scatter(bit_error_ratio=0.01)).probability
        for payload in (b"\1", b"\2\3")
    )
    assert answer["links"][0]["probability"] == pytest.approx((3 * one + two) / 4, rel=1e-9)
    assert answer["links"][0]["method"] == "exact"


def test_bounded_payloads_are_a_population_of_their_own():
    done = run(
        "can", "--payload-low", "00", "--payload-high", "03", "--bit-error-ratio", "0.01", "--json", "--budget", "3.5s"
    )
    assert done.returncode == 0, done.stderr
    subject = json.loads(done.stdout)["subject"]
    assert (subject["kind"], subject["bytes"], subject["low"], subject["high"]) == ("payloads", 1, "00", "03")
    assert subject["frame"]["identifier"] == 0x123  # nobody said one, so the answer must


def test_bursts_and_receivers_stand_in_the_answer():
    done = run(*FRAME, "--bit-error-ratio", "1e-6", "--bursts", "12", "--receivers", "3")
    assert done.returncode == 0, done.stderr
    assert "the shortest that passes undetected spans 10 bits" in done.stdout
    assert "each of 3 receivers by its own flips" in " ".join(done.stdout.split())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--payload-bytes", "2", "--payload", "00"], "say one of them"),
        (["--payload-low", "00", "--payload-high", "0000"], "2 bytes; expected 1"),
        (["--payload-low", "05", "--payload-high", "04"], "must be at least"),
        (["--payload", "00", "--seed", "3"], "does nothing without --payload-bytes"),
        (["--payload-bytes", "2", "--bursts", "5"], "counts the bursts of one frame"),
        (["--payload", "00", "--receivers", "0"], "must lie in 1..10000"),
        (["--payload", "00", "--bursts", "99"], "--bursts=99: must lie in 1..30"),
        (["--payloads", "no such file"], "cannot be read"),
        (["--payload", "00", "--target", "10%"], "does nothing unless payloads are drawn"),
        (["--payload-bytes", "2", "--target", "10"], "expected a percentage"),
        (["--payload", "00", "--per-decade", "2"], "does nothing without --sweep"),
        (["--payload", "00", "--json", "--plot-data", "-"], "stands beside --json"),
    ],
)
def test_slips_about_payloads_and_receivers_are_one_line(words, said):
    done = run("can", "--identifier", "0x123", *words, "--bit-error-ratio", "0.001")
    assert done.returncode == 2
    assert done.stdout == ""
    (line,) = done.stderr.splitlines()
    assert said in line


@pytest.mark.parametrize(
    "content", ["", "# nothing\n", "0g\n", "01 2 3\n", "01 many\n", "01 -1\n", "01 nan\n", "0102030405060708090a\n"]
)
def test_a_bad_list_is_named_with_its_line(tmp_path, content):
    listed = tmp_path / "payloads.txt"
    listed.write_text(content, encoding="utf-8")
    done = run("can", "--identifier", "0x123", "--payloads", str(listed), "--bit-error-ratio", "0.01")
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert str(listed) in line


@pytest.mark.parametrize("network", fs.networks())
def test_every_network_explains_its_options(network):
    done = run(network, "--help")
    assert done.returncode == 0, done.stderr
    assert "--bit-error-ratio" in done.stdout
