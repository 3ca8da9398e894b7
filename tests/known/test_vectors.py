"""The vectors: well-formed, explained, reproduced by framesim, and derived again without it."""

import json
import os
import subprocess
import sys
from collections import Counter
from dataclasses import fields
from pathlib import Path
from typing import Any, get_type_hints

import jsonschema
import pytest
from bitarray import bitarray
from feeding import receive_every_way

import framesim as fs
from framesim.networks import network

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "vectors"
SCHEMA = json.loads((FOLDER / "frame_vectors.schema.json").read_text(encoding="utf-8"))
SOURCES = json.loads((FOLDER / "sources.json").read_text(encoding="utf-8"))
FILES = sorted(path for path in FOLDER.glob("*.json") if path.name not in (SCHEMA["$id"], "sources.json"))
DOCUMENTS = {path.stem: json.loads(path.read_text(encoding="utf-8")) for path in FILES}
CHECKERS = sorted((FOLDER / "made").glob("check_*.py"))
MAKERS = sorted((FOLDER / "made").glob("make_*.py"))

each_file = pytest.mark.parametrize("document", DOCUMENTS.values(), ids=DOCUMENTS.keys())


def cases_of(document: dict[str, Any]) -> list[dict[str, Any]]:
    return [case for group in document["groups"] for case in group["cases"]]


def is_good(case: dict[str, Any]) -> bool:
    return case["expect"] == "accepted" and "received" not in case


def frame_from(data: dict[str, Any], name: str) -> Any:
    """Build a frame from a vector's fields; the frame type's annotations say which text is bytes."""
    frame_type = network(name).frame_type
    hints = get_type_hints(frame_type)
    values = {
        key: bytes.fromhex(value) if hints[key] is bytes else tuple(value) if isinstance(value, list) else value
        for key, value in data.items()
    }
    return frame_type(**values)


def complaints(document: dict[str, Any]) -> list[str]:
    """Return one sentence for each thing that the schema cannot say and that is wrong."""
    cases, found = cases_of(document), []
    if document["count"] != len(cases):
        found.append(f"count={document['count']}: the file holds {len(cases)} cases")
    found += [f"id {id_} repeats" for id_, times in Counter(case["id"] for case in cases).items() if times > 1]
    used = {flag for case in cases for flag in case["flags"]}
    found += [f"flag {flag} has no note" for flag in sorted(used - set(document["notes"]))]
    found += [f"note {flag} is never used" for flag in sorted(set(document["notes"]) - used)]
    names = [group["source"]["id"] for group in document["groups"]]
    found += [f"group {name} repeats" for name, times in Counter(names).items() if times > 1]
    for group in document["groups"]:
        source = group["source"]
        if source["cite"].partition("#")[2] not in SOURCES:
            found.append(f"{source['cite']}: no such source")
        if not (FOLDER / source["checked_by"]).exists():
            found.append(f"{source['checked_by']}: no such program")
    bad = sum(not is_good(case) for case in cases)
    if 2 * bad <= len(cases):
        found.append(f"only {bad} of {len(cases)} cases are bad")
    return found


def test_every_network_has_vectors_and_each_file_has_a_maker_and_a_checker():
    stems = set(DOCUMENTS)
    assert stems == {path.stem.removeprefix("make_") for path in MAKERS}
    assert stems == {path.stem.removeprefix("check_") for path in CHECKERS}
    assert "can" in stems
    assert {document["network"].replace("-", "_") for document in DOCUMENTS.values()} == stems


@each_file
def test_a_file_keeps_to_the_schema(document):
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.Draft202012Validator(SCHEMA).validate(document)


@each_file
def test_a_file_is_counted_numbered_explained_and_mostly_bad(document):
    assert complaints(document) == []


def test_the_lint_and_the_schema_see_what_is_wrong():
    def spoil(change):
        document = json.loads(json.dumps(DOCUMENTS["can"]))
        change(document)
        return complaints(document) or not jsonschema.Draft202012Validator(SCHEMA).is_valid(document)

    def first(document, expect):
        return next(case for case in cases_of(document) if case["expect"] == expect)

    assert not spoil(lambda document: None)
    for change in (
        lambda document: document.update(count=1),
        lambda document: document.update(extra=1),
        lambda document: document["notes"].popitem(),
        lambda document: document["notes"].update(Other=document["notes"]["Ordinary"]),
        lambda document: first(document, "accepted").update(id=2),
        lambda document: first(document, "accepted").update(frame=None),
        lambda document: first(document, "rejected").update(check=None),
        lambda document: first(document, "incomplete").update(at=3),
        lambda document: first(document, "rejected").update(received=first(document, "accepted")["frame"]),
        lambda document: document["groups"][0]["source"].update(cite="sources.json#nowhere"),
        lambda document: document["groups"][0]["cases"].extend(
            {**case, "id": 10_000 + number} for number, case in enumerate(300 * [first(document, "accepted")])
        ),
    ):
        assert spoil(change)


@each_file
def test_framesim_gives_the_answer_of_every_case(document):
    name = document["network"]
    for case in cases_of(document):
        got = receive_every_way(bitarray(case["wire"]), name)
        where = f"{name} case {case['id']}: {case['comment']}"
        assert got.accepted == (case["expect"] == "accepted"), where
        assert got.complete == (case["expect"] != "incomplete"), where
        assert (case["check"], case["at"]) == (None if got.check is None else got.check.value, got.at), where
        if got.accepted:
            assert got.frame == frame_from(case.get("received", case["frame"]), name), where


@each_file
def test_framesim_puts_out_every_wire_that_a_sender_puts_out(document):
    name = document["network"]
    for case in cases_of(document):
        where = f"{name} case {case['id']}: {case['comment']}"
        if case["frame"] is not None:
            assert set(case["frame"]) == {field.name for field in fields(network(name).frame_type)}, where
        if "spans" in case:
            sent = fs.encode(frame_from(case["frame"], name))
            assert sent.bits.to01() == case["wire"], where
            assert [span._asdict() for span in sent.spans] == case["spans"], where
            assert list(sent.inserted) == case["inserted"], where
        if "flips" in case:
            sent = fs.encode(frame_from(case["frame"], name))
            idle = str(network(name).layout.idle)
            own = sent.bits.to01().ljust(len(case["wire"]), idle)
            assert [place for place, bit in enumerate(case["wire"]) if bit != own[place]] == case["flips"], where
            seen = bitarray(case["wire"])
            undetected = fs.judge(sent, seen).outcome is fs.Outcome.UNDETECTED
            assert undetected == ("received" in case), where


def run(program: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    place = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.run(
        [sys.executable, str(program), *arguments], capture_output=True, text=True, env=place, check=False
    )


@pytest.mark.parametrize("program", MAKERS, ids=lambda path: path.stem)
def test_a_maker_makes_the_very_bytes_that_are_kept(program, tmp_path):
    done = run(program, str(tmp_path))
    assert done.returncode == 0, done.stderr
    made = sorted(tmp_path.iterdir())
    assert [path.name for path in made] == [program.stem.removeprefix("make_") + ".json"]
    assert made[0].read_bytes() == (FOLDER / made[0].name).read_bytes()


@pytest.mark.parametrize("program", CHECKERS, ids=lambda path: path.stem)
def test_a_checker_that_knows_nothing_of_framesim_agrees(program):
    text = program.read_text(encoding="utf-8")
    assert "import framesim" not in text
    assert "from framesim" not in text
    done = run(program)
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_can_checker_sees_a_wrong_answer(tmp_path):
    document = json.loads(json.dumps(DOCUMENTS["can"]))
    case = next(case for case in cases_of(document) if case["check"] == "crc")
    case["at"] += 1
    spoiled = tmp_path / "can.json"
    spoiled.write_text(json.dumps(document), encoding="utf-8")
    done = run(FOLDER / "made" / "check_can.py", str(spoiled))
    assert done.returncode == 1
    assert f"case {case['id']}:" in done.stdout
