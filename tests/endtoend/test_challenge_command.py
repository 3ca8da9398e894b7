"""Whatever a command under test does, ``framesim challenge`` reports it and goes on living."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from framesim.challenge import challenge_command
from framesim.cli.main import main

MISBEHAVING = [sys.executable, str(Path(__file__).parent / "clients" / "misbehaving.py")]


def challenge(*words, folder=None, network="can"):
    return subprocess.run(
        [sys.executable, "-m", "framesim", "challenge", network, *words],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        cwd=folder,
        env={**os.environ, "COLUMNS": "80", "NO_COLOR": "1"},
    )


def findings(way, after=0, *, cases=60, timeout=0.5):
    """Challenge the misbehaving client; return the rules found, and the whole record."""
    report = challenge_command([*MISBEHAVING, way, str(after)], network="can", cases=cases, timeout=timeout)
    assert not report.clean
    return [finding.rule for finding in report.findings], report.record()


@pytest.mark.parametrize(
    ("way", "after", "rule", "detail"),
    [
        ("crash", 0, "crashes", "signal 6"),
        ("crash", 30, "crashes", "signal 6"),
        ("leave", 0, "ends before it has answered", "exit status 7; no more today"),
        ("garbage", 0, "answers with something that is no JSON", "not JSON"),
        ("list", 5, "answers with something that is no JSON object", "[1, 2, 3]"),
        ("anonymous", 0, "answers without the number of the case", "refused"),
        ("huge", 3, "writes a line of more than 1,000,000 characters", ""),
        ("slip", 0, "names a check that is no word of the vocabulary", "[31m"),
        ("twice", 4, "answers another case than the one that is due", "where"),
        ("silent once", 4, "answers another case than the one that is due", "where"),
    ],
)
def test_misbehaviour_is_a_finding(way, after, rule, detail):
    rules, record = findings(way, after)
    assert any(found.startswith(rule) for found in rules), rules
    assert detail in json.dumps([finding["got"] for finding in record["findings"]])
    assert ("did not keep step" in record["stopped"]) == rule.startswith("answers another case")


def test_a_command_that_hangs_is_ended_and_reported():
    rules, record = findings("hang", 10)
    assert any(rule.startswith("hangs") for rule in rules)
    assert "hung" in record["stopped"]


def inline(*lines):
    return [sys.executable, "-c", "\n".join(("import json, sys, time", *lines))]


def test_a_command_that_writes_on_and_on_without_ending_a_line_hangs():
    drip = inline(
        "sys.stdin.readline()", "for _ in range(40):", "    print(end='x', flush=True)", "    time.sleep(0.1)"
    )
    report = challenge_command(drip, network="can", cases=1, timeout=0.5)
    assert [finding.rule for finding in report.findings] == ["hangs"]


def test_a_command_that_tires_is_not_blamed_for_the_case_at_which_it_does():
    tired = inline(
        "for line, _ in zip(sys.stdin, range(7)):",
        "    number = json.loads(line)['case']",
        "    print(json.dumps({'case': number, 'verdict': 'refused'}), flush=True)",
    )
    report = challenge_command(tired, network="can", cases=20, timeout=5)
    rules = [finding.rule for finding in report.findings]
    assert "ends before it has answered, though not when asked the same case alone" in rules
    assert "ends before it has answered" not in rules


def test_a_slow_command_does_not_hang_as_long_as_it_goes_on_answering():
    rules, record = findings("slow", cases=7, timeout=2)  # 2.8 seconds in all
    assert record["asked"] == 7
    assert not any("hang" in rule for rule in rules), rules


def test_a_command_that_closes_its_output_is_reported():
    rules, _ = findings("close", 0, cases=2, timeout=0.3)
    assert any(rule.startswith("closes its output before it has answered") for rule in rules)


def test_answers_held_back_in_a_buffer_are_told_from_hanging():
    rules, record = findings("hold back")
    assert "holds its answers back: flush standard output after each line" in rules
    assert record["stopped"] == "it holds its answers back"


def test_a_word_too_many_at_the_end_is_reported():
    rules, _ = findings("postscript", 10_000)
    assert "writes more lines than it was asked cases" in rules


def test_a_command_that_does_not_end_with_its_input_is_reported():
    rules, _ = findings("stay", 0)
    assert "does not end when its input ends" in rules


def test_much_talk_on_standard_error_at_the_end_is_no_fault():
    rules, _ = findings("last words", cases=20)
    assert not any("end" in rule for rule in rules), rules


def test_what_the_command_started_is_ended_with_it(tmp_path):
    note = tmp_path / "child"
    challenge_command([*MISBEHAVING, "parent", "0", str(note)], network="can", cases=1, timeout=0.5)
    state = Path(f"/proc/{note.read_text(encoding='utf-8')}/stat")
    for _ in range(50):
        if not state.exists() or state.read_text(encoding="utf-8").rpartition(")")[2].split()[0] == "Z":
            return
        time.sleep(0.05)
    raise AssertionError("the child of the command lives on")


def test_much_talk_on_standard_error_blocks_nothing():
    rules, record = findings("chatter", cases=300, timeout=5)
    assert record["asked"] == 300
    assert all("refuse" in rule or "error" in rule for rule in rules), rules


def test_a_clean_command_gives_status_zero_and_leaves_no_file(tmp_path):
    done = challenge("--cases", "200", "--", sys.executable, str(right_client(tmp_path)), folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == "can, decode: 200 cases (seed 1). Every answer was right.\n"
    assert [path.name for path in tmp_path.iterdir()] == ["client.py"]


def test_what_was_found_is_shown_within_80_columns_and_saved(tmp_path):
    done = challenge("--cases", "200", "--", *MISBEHAVING, "stay", "10000", folder=tmp_path)
    assert done.returncode == 1
    lines = done.stdout.splitlines()
    assert "rules broken" in lines[0] or "rule broken" in lines[0]
    assert all(len(line) <= 80 or line.strip().startswith("framesim ") for line in lines)
    assert not any(line.endswith(" ") for line in lines)
    record = json.loads((tmp_path / "challenge-can.json").read_text(encoding="utf-8"))
    assert list(record) == ["network", "mode", "seed", "asked", "stopped", "findings", "version"]
    finding = record["findings"][0]
    replay = subprocess.run(
        [sys.executable, "-m", *finding["replay"].split(), "--json"],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert json.loads(replay.stdout)["accepted"] is (finding["want"]["verdict"] == "accepted")


def test_an_earlier_file_of_findings_is_left_as_it_is_and_the_next_gets_a_number(tmp_path):
    texts = []
    for way, last in (("garbage", "challenge-can.json"), ("crash", "challenge-can-2.json"), ("list", "-3.json")):
        done = challenge("--cases", "5", "--", *MISBEHAVING, way, "0", folder=tmp_path)
        assert done.returncode == 1
        assert done.stdout.splitlines()[-1].endswith(last)
        name = done.stdout.split()[-1]
        assert json.loads((tmp_path / name).read_text(encoding="utf-8"))["findings"]
        texts.append((tmp_path / name).read_text(encoding="utf-8"))
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["challenge-can-2.json", "challenge-can-3.json", "challenge-can.json"]
    assert len(set(texts)) == 3
    assert (tmp_path / "challenge-can.json").read_text(encoding="utf-8") == texts[0]


def test_a_file_that_is_named_replaces_findings_and_nothing_else(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    mine = tmp_path / "mine.json"
    words = ["challenge", "can", "--cases", "5", "--save", "mine.json", "--", *MISBEHAVING, "garbage", "0"]
    for content in (None, "", '{"network": "lin", "findings": []}'):
        if content is not None:
            mine.write_text(content, encoding="utf-8")
        assert main(words) == 1
        assert json.loads(mine.read_text(encoding="utf-8"))["network"] == "can"
    capsys.readouterr()
    for content in ("int main(void) {}\n", "[1, 2]", '{"network": "can"}', "\x00\xff"):
        mine.write_text(content, encoding="latin-1")
        assert main(words) == 2
        out, err = capsys.readouterr()
        assert "is there already and holds no findings" in err
        assert (out, err.count("\n")) == ("", 1)
        assert mine.read_text(encoding="latin-1") == content


def test_findings_are_written_although_nobody_reads_the_output(tmp_path):
    words = [*("--cases", "5", "--"), *MISBEHAVING, "garbage", "0"]
    command = [sys.executable, "-m", "framesim", "challenge", "can", *words]
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=tmp_path)
    child.stdout.close()
    _, err = child.communicate(timeout=60)
    assert child.returncode == 141, err
    assert json.loads((tmp_path / "challenge-can.json").read_text(encoding="utf-8"))["findings"]


def test_findings_are_shown_although_they_cannot_be_written(tmp_path):
    (tmp_path / "loop.json").symlink_to("loop.json")
    done = challenge("--cases", "5", "--save", "loop.json", "--", *MISBEHAVING, "garbage", "0", folder=tmp_path)
    assert done.returncode == 2
    assert "rule broken" in done.stdout
    assert done.stderr.startswith("framesim: save='loop.json': Too many levels")
    assert done.stderr.count("\n") == 1


def test_the_same_seed_finds_the_same():
    one, two = (findings("postscript", 10_000, cases=400)[1] for _ in range(2))
    assert one == two


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--cases", "10"], "command: missing"),
        (["--"], "command: missing"),
        (["--", "./no-such-program"], "'./no-such-program': cannot be started: No such file"),
        (["--cases", "0", "--", "true"], "count=0"),
        (["--seed", "-1", "--", "true"], "seed=-1"),
        (["--timeout", "0", "--", "true"], "timeout=0"),
        (["--timeout", "nan", "--", "true"], "timeout=nan"),
        (["--mode", "both ways", "--", "true"], "must be one of decode, encode, both"),
        (["--save", "/no/such/folder/x.json", "--", "true"], "expected a file in a folder that exists"),
        (["--speed", "9", "--", "true"], "'--speed': no such option"),
    ],
)
def test_bad_input_is_one_line_and_status_two(words, said):
    done = challenge(*words)
    assert done.returncode == 2
    assert said in done.stderr
    assert done.stderr.count("\n") == 1
    assert done.stdout == ""


def test_interrupting_keeps_what_was_found(tmp_path):
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "framesim", "challenge", "can", "--cases", "100000", "--json", "--timeout", "60"),
            *("--", *MISBEHAVING, "hang", "700", str(tmp_path / "now")),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509 - a background job ignores it
    )
    for _ in range(600):
        if (tmp_path / "now").exists():
            break
        time.sleep(0.1)
    time.sleep(0.2)
    process.send_signal(signal.SIGINT)
    try:
        out, err = process.communicate(timeout=30)
    finally:
        process.kill()
    assert (process.returncode, err) == (130, "")
    record = json.loads(out)
    assert record["stopped"] == "interrupted"
    assert record["asked"] == 700  # 512 of the first batch and what was answered of the second
    assert "writes more lines than it was asked cases" not in [finding["rule"] for finding in record["findings"]]


def right_client(folder):
    client = folder / "client.py"
    client.write_text(
        "import json, sys\n"
        "import framesim as fs\n"
        "from framesim.challenge.protocol import flat_frame\n"
        "from framesim.wire import parse_bits\n"
        "for line in sys.stdin:\n"
        "    case = json.loads(line)\n"
        "    got = fs.receive(parse_bits(case['bits']), case['network'])\n"
        "    if got.accepted:\n"
        "        answer = {'verdict': 'accepted', **flat_frame(got.frame)}\n"
        "    elif got.check:\n"
        "        answer = {'verdict': 'rejected', 'check': got.check, 'at': got.at}\n"
        "    else:\n"
        "        answer = {'verdict': 'incomplete'}\n"
        "    print(json.dumps({'case': case['case'], **answer}), flush=True)\n",
        encoding="utf-8",
    )
    return client
