"""``framesim claims``: verdicts, evidence that repeats elsewhere, and evidence that was tampered with."""

import json
import os
import pathlib
import random
import shlex
import shutil
import signal
import subprocess
import sys

import jsonschema
import pytest

from framesim.claims.checking import decide_all
from framesim.claims.evidence import MANIFEST, RUN, digest_of, dumped, hash_of
from framesim.claims.reading import claims_from_text
from framesim.claims.verifying import verify
from framesim.cli.main import main
from framesim.report.claims_page import claims_page

ROOT = pathlib.Path(__file__).parents[2]
SCHEMA = json.loads((ROOT / "docs" / "evidence.schema.json").read_text(encoding="utf-8"))
VECTORS = json.loads((ROOT / "vectors" / "frame_vectors.schema.json").read_text(encoding="utf-8"))

# One claim of each verdict, each quickly decided; markup in the text shows that pages escape it.
QUICK = """
title = "Quick <claims> & more"
budget_s = 0.5
[[claim]]
id = "refuted"
text = "Every single flip <b>is</b> noticed"
frame = { network = "can", identifier = 0x482, payload = "3B18D3BF5B60C104" }
asserts = { kind = "detects-flips", up_to = 1 }
[[claim]]
id = "proven"
code = { name = "CRC-15/CAN", data_bits = 83 }
asserts = { kind = "distance-at-least", distance = 6 }
[[claim]]
id = "code"
code = { name = "CRC-15/CAN", data_bits = 83 }
asserts = { kind = "distance-at-least", distance = 7 }
[[claim]]
id = "bounded"
frame = { network = "can", identifier = 5, payload = { random = 8 } }
asserts = { kind = "detects-flips", up_to = 1, share_of_frames = 0.99 }
[[claim]]
id = "open"
frame = { network = "flexray", frame_id = 5, payload = "0102" }
asserts = { kind = "detects-bursts", up_to = 16 }
"""
HEAD, _, PROVEN, *_ = QUICK.split("[[claim]]")
WITHIN = f"{HEAD}[[claim]]{PROVEN}"


def framesim(*words, cwd=None, columns="80"):
    settings = {**os.environ, "COLUMNS": columns, "NO_COLOR": "1"}
    command = [sys.executable, "-m", "framesim", *words]
    return subprocess.run(command, capture_output=True, text=True, check=False, env=settings, cwd=cwd)


@pytest.fixture(scope="module")
def quick(tmp_path_factory):
    """The quick claims, their evidence, and what the command printed."""
    folder = tmp_path_factory.mktemp("claims")
    path = folder / "quick.toml"
    path.write_text(QUICK, encoding="utf-8")
    done = framesim("claims", str(path), "--evidence", str(folder / "evidence"))
    return folder, done


def test_each_verdict_is_shown_and_the_status_is_one(quick):
    _, done = quick
    assert done.returncode == 1, done.stderr
    for words in ("REFUTED refuted", "PROVEN proven", "BOUNDED, within the claim: bounded", "OPEN open"):
        assert words in done.stdout
    assert "5 claims: 1 proven, 2 refuted, 1 bounded, 1 open." in done.stdout
    assert "certify nothing" in done.stdout.replace("\n", " ")
    assert "\x1b" not in done.stdout
    commands = [line for line in done.stdout.splitlines() if line.startswith("    framesim ")]
    assert commands
    assert all(len(line) <= 80 for line in done.stdout.splitlines() if line not in commands and "digest" not in line)


def test_the_status_is_zero_where_all_lie_within(tmp_path):
    path = tmp_path / "within.toml"
    path.write_text(WITHIN, encoding="utf-8")
    assert main(["claims", str(path), "--json"]) == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["nowhere.toml"], "nowhere.toml: cannot be read"),
        (["--verify", "nowhere"], "nowhere: expected an evidence folder"),
        (["--verify", "x", "--show-claims"], "--verify: stands alone"),
        (["--evidence", "{here}"], "is there already and not empty; expected a new or an empty folder"),
        (["--evidence", ""], "expected the name of a folder"),
        (["--evidense", "x"], "did you mean --evidence?"),
    ],
)
def test_a_slip_is_one_line_and_status_two(words, told, tmp_path, capsys):
    (tmp_path / "something").write_text("", encoding="utf-8")
    assert main(["claims", *(word.replace("{here}", str(tmp_path)) for word in words)]) == 2
    out, err = capsys.readouterr()
    assert not out
    assert told in err
    assert err.count("\n") == 1


def test_show_claims_prints_a_file_that_is_read(capsys):
    assert main(["claims", "--show-claims"]) == 0
    assert len(claims_from_text(capsys.readouterr().out, file="f").claims) >= 16


def test_the_evidence_follows_its_schemas_and_says_the_same_as_the_json(quick, capsys):
    folder, _ = quick
    record = json.loads((folder / "evidence" / "evidence.json").read_text(encoding="utf-8"))
    jsonschema.validate(record, SCHEMA)
    assert main(["claims", str(folder / "quick.toml"), "--json"]) == 1
    assert json.loads(capsys.readouterr().out) == record
    for path in (folder / "evidence" / "vectors").glob("*.json"):
        document = json.loads(path.read_text(encoding="utf-8"))
        jsonschema.validate(document, VECTORS)
        checker = ROOT / "vectors" / document["groups"][0]["source"]["checked_by"]
        done = subprocess.run([sys.executable, checker, path], capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout  # a program without framesim comes to the same answer
        assert f"{document['count']} cases, 0 differences" in done.stdout


def test_the_page_escapes_what_comes_from_the_file_and_loads_nothing(quick):
    page = (quick[0] / "evidence" / "report.html").read_text(encoding="utf-8")
    assert "Quick &lt;claims&gt; &amp; more" in page
    assert "<b>is</b>" not in page
    assert "src=" not in page
    assert "http" not in page


def test_the_same_claims_give_the_same_files_but_for_time_and_machine(quick, tmp_path):
    folder, _ = quick
    assert main(["claims", str(folder / "quick.toml"), "--evidence", str(tmp_path / "again")]) == 1
    one, other = folder / "evidence", tmp_path / "again"
    names = sorted(path.relative_to(one).as_posix() for path in one.rglob("*.*"))
    assert names == sorted(path.relative_to(other).as_posix() for path in other.rglob("*.*"))
    for name in set(names) - {RUN}:
        assert (one / name).read_bytes() == (other / name).read_bytes(), name


def test_evidence_is_repeated_from_another_working_directory(quick, tmp_path):
    shutil.copytree(quick[0] / "evidence", tmp_path / "theirs")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    done = framesim("claims", "--verify", "../theirs", cwd=elsewhere)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "repeated, nothing differs" in done.stdout
    for name in ("refuted", "proven", "code", "bounded", "open"):
        assert name in done.stdout
    record = verify(str(tmp_path / "theirs")).record()
    assert record["holds"]
    assert record["replayed"] == ["refuted", "code"]
    assert record["repeated"] == ["refuted", "proven", "code", "bounded", "open"]


def test_a_file_with_line_ends_of_another_system_verifies(tmp_path):
    path = tmp_path / "within.toml"
    path.write_bytes(WITHIN.replace("\n", "\r\n").encode())
    assert main(["claims", str(path), "--evidence", str(tmp_path / "e")]) == 0
    assert (tmp_path / "e" / "claims.toml").read_bytes() == path.read_bytes()
    assert main(["claims", "--verify", str(tmp_path / "e")]) == 0


def test_control_characters_of_a_file_do_not_reach_the_terminal(tmp_path, capsys):
    path = tmp_path / "within.toml"
    path.write_text(WITHIN.replace("Quick", "Quick \\u001b[31m \\u202e"), encoding="utf-8")
    assert main(["claims", str(path)]) == 0
    out = capsys.readouterr().out
    assert "Quick \\x1b[31m \\u202e" in out
    assert "\x1b" not in out


def test_one_changed_byte_anywhere_fails(quick, tmp_path):
    """Every file, every eighth of it: one bit of one byte, the place drawn (seed 1)."""
    folder = tmp_path / "changed"
    shutil.copytree(quick[0] / "evidence", folder)
    drawn = random.Random(1)
    for path in sorted(folder.rglob("*.*")):
        content = path.read_bytes()
        for part in range(8):
            place = len(content) * part // 8 + drawn.randrange(max(1, len(content) // 8))
            place = min(place, len(content) - 1)
            changed = bytearray(content)
            changed[place] ^= 1 << drawn.randrange(8)
            path.write_bytes(changed)
            assert not verify(str(folder)).holds, (path.name, place)
        for other in (content[:-1], content + b"\n", b""):
            path.write_bytes(other)
            assert not verify(str(folder)).holds, path.name
        path.write_bytes(content)
    (folder / "more.txt").write_text("x", encoding="utf-8")
    assert verify(str(folder)).problems == ("more.txt: does not belong to the evidence",)
    (folder / "more.txt").unlink()
    assert verify(str(folder)).holds
    (folder / "report.html").unlink()
    assert any("report.html: cannot be read" in problem for problem in verify(str(folder)).problems)


def forged(folder, change):
    """Change the findings and make manifest and run agree, as somebody who wants to deceive would."""
    path = folder / "evidence.json"
    record = json.loads(path.read_text(encoding="utf-8"))
    change(record)
    path.write_text(json.dumps(record, indent=2) + "\n", encoding="utf-8")
    manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    manifest["files"]["evidence.json"] = hash_of(path.read_bytes())
    manifest["digest"] = digest_of(manifest["files"])
    (folder / MANIFEST).write_text(dumped(manifest), encoding="utf-8")
    run = json.loads((folder / RUN).read_text(encoding="utf-8"))
    (folder / RUN).write_text(dumped({**run, "digest": manifest["digest"]}), encoding="utf-8")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda record: record["claims"][0].update(verdict="proven", meets="yes"), "claim refuted: decided again"),
        (lambda record: record["claims"][0].update(counterexample=None), "claim refuted: decided again"),
        (lambda record: record["claims"][0]["counterexample"].update(wire="01" * 60), "claim refuted: its counterex"),
        (lambda record: record["claims"][2]["counterexample"].update(flips=[1, 2]), "claim code: its counterexample"),
        (lambda record: record["claims"][3]["figure"].update(high=0.5), "claim bounded: decided again"),
        (lambda record: record["claims"].pop(), "its claims are not those of claims.toml"),
        (lambda record: record.update(partial=True), "evidence.json: partial differs"),
        (lambda record: record.update(claims=None), "not evidence as it is written here"),
        (lambda record: record["claims"][0].update(counterexample={"kind": "frame"}), "not evidence as it is written"),
        (lambda record: record["summary"].update(within=True), "evidence.json: summary.within differs"),
    ],
)
def test_a_forgery_whose_hashes_agree_is_found_by_deciding_again(quick, tmp_path, change, told):
    folder = tmp_path / "forged"
    shutil.copytree(quick[0] / "evidence", folder)
    forged(folder, change)
    result = verify(str(folder))
    assert not result.holds
    assert any(told in problem for problem in result.problems), result.problems
    assert result.record()["problems"]


def test_a_page_that_says_something_else_is_found(quick, tmp_path):
    folder = tmp_path / "forged"
    shutil.copytree(quick[0] / "evidence", folder)
    page = folder / "report.html"
    page.write_text(page.read_text(encoding="utf-8").replace("refuted", "proven"), encoding="utf-8")
    manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    manifest["files"]["report.html"] = hash_of(page.read_bytes())
    manifest["digest"] = digest_of(manifest["files"])
    (folder / MANIFEST).write_text(dumped(manifest), encoding="utf-8")
    run = json.loads((folder / RUN).read_text(encoding="utf-8"))
    (folder / RUN).write_text(dumped({**run, "digest": manifest["digest"]}), encoding="utf-8")
    assert verify(str(folder), render=claims_page).problems == ("report.html: made again, it differs",)


def test_an_interruption_keeps_what_is_done(monkeypatch):
    from framesim.claims import checking

    claims = claims_from_text(QUICK, file="f")
    decide, seen = checking.decide, []

    def stopped(claim, told):
        if len(seen) == 2:
            raise KeyboardInterrupt
        seen.append(claim.name)
        return decide(claim, told)

    monkeypatch.setattr(checking, "decide", stopped)
    report = decide_all(claims)
    assert report.partial
    assert [finding.verdict.value for finding in report.findings] == ["refuted", "proven", "open", "open", "open"]
    jsonschema.validate(json.loads(report.to_json()), SCHEMA)


def test_the_built_in_claims_replay_through_decode_within_a_minute(tmp_path, capsys):
    began = sum(os.times()[2:4])
    done = framesim("claims", "--json", "--evidence", str(tmp_path / "e"))
    assert done.returncode == 1, done.stderr
    assert sum(os.times()[2:4]) - began < 60  # processor time of the child: a busy machine is not a slow program
    record = json.loads(done.stdout)
    jsonschema.validate(record, SCHEMA)
    bounded = {row["id"]: row["meets"] for row in record["claims"] if row["verdict"] == "bounded"}
    assert bounded == {"can-single-flip-rare": "yes", "sweeper-per-hour": "undecided"}
    examples = [row["counterexample"] for row in record["claims"] if row["counterexample"]]
    assert len(examples) == 7
    for example in examples:
        for command in example["replay"]:
            assert main([*shlex.split(command)[1:], "--json"]) == 0, command
            said = json.loads(capsys.readouterr().out)
            if command.startswith("framesim decode"):
                assert said["accepted"]
                assert said["frame"] == example["accepted"] != example["sent"]
            elif command.startswith("framesim disturb"):
                assert said["outcome"] == "undetected"
                assert said["frame"] == example["sent"]
            else:
                assert f"{example['bit_error_ratio']:g}" in said["undetected_probability"]
    assert any(command.startswith("framesim decode") for example in examples for command in example["replay"])
    assert all(
        any(command.startswith("framesim decode") for command in example["replay"])
        for example in examples
        if example["kind"] == "frame"
    )


def test_a_keyboard_interrupt_shows_and_keeps_what_was_done(tmp_path, monkeypatch, capsys):
    from framesim.claims import checking

    decide = checking.decide

    def interrupted(claim, told):
        if claim.name == "code":
            signal.raise_signal(signal.SIGINT)
        return decide(claim, told)

    monkeypatch.setattr(checking, "decide", interrupted)
    before = signal.signal(signal.SIGINT, signal.default_int_handler)  # a background job ignores it
    path = tmp_path / "quick.toml"
    path.write_text(QUICK, encoding="utf-8")
    try:
        assert main(["claims", str(path), "--evidence", str(tmp_path / "e")]) == 130
    finally:
        signal.signal(signal.SIGINT, before)
    monkeypatch.setattr(checking, "decide", decide)
    out = capsys.readouterr().out
    assert "PROVEN proven" in out
    assert "Interrupted: the claims that were not reached are open." in out
    result = verify(str(tmp_path / "e"))
    assert result.holds
    assert result.left_out == ("code", "bounded", "open")
    assert result.repeated == ("refuted", "proven")


def test_an_interrupted_repetition_accuses_no_claim_that_it_did_not_reach(quick, monkeypatch, capsys):
    from framesim.claims import checking

    decide = checking.decide

    def interrupted(claim, told):
        if claim.name == "code":
            raise KeyboardInterrupt
        return decide(claim, told)

    monkeypatch.setattr(checking, "decide", interrupted)
    assert main(["claims", "--verify", str(quick[0] / "evidence"), "--json"]) == 130
    record = json.loads(capsys.readouterr().out)
    assert record["problems"] == ["interrupted before all claims were decided again"]
    assert record["repeated"] == ["refuted", "proven"]
    assert record["left_out"] == ["code", "bounded", "open"]


def test_evidence_is_written_although_nobody_reads_the_output(quick, tmp_path):
    folder, _ = quick
    command = [
        sys.executable,
        "-m",
        "framesim",
        "claims",
        str(folder / "quick.toml"),
        "--evidence",
        str(tmp_path / "e"),
    ]
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    child.stdout.close()
    _, err = child.communicate(timeout=120)
    assert child.returncode == 141, err
    assert verify(str(tmp_path / "e")).holds


def test_findings_are_shown_although_the_evidence_cannot_be_written(tmp_path, monkeypatch, capsys):
    from framesim.claims import evidence
    from framesim.errors import BadInput

    def full(*_, **__):
        raise BadInput("e: cannot be written (No space left on device)")

    monkeypatch.setattr(evidence, "write_evidence", full)
    path = tmp_path / "within.toml"
    path.write_text(WITHIN, encoding="utf-8")
    assert main(["claims", str(path), "--evidence", str(tmp_path / "e")]) == 2
    out, err = capsys.readouterr()
    assert "PROVEN proven" in out
    assert err == "framesim: e: cannot be written (No space left on device)\n"
