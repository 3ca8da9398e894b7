"""A claim that a second does not decide comes out open, with how far it got, instead of over-running."""

import json
import time

import pytest

from framesim.cli.main import main

HEAD = 'title = "what a second does not decide"\nbudget_s = 1.0\n'
#: id → the claim; years of work each, whatever the machine: costs are fixed figures
CLAIMS = {
    "far-distance": (
        'code = { name = "CRC-64", data_bits = 1000 }\nasserts = { kind = "distance-at-least", distance = 10 }\n'
    ),
    "long-frame": (
        f'frame = {{ network = "can-xl", identifier = 5, payload = "{"00" * 16}" }}\n'
        'asserts = { kind = "detects-flips", up_to = 4 }\n'
    ),
    "counted-frame": (
        'frame = { network = "flexray", frame_id = 12, payload = { worst = 16 } }\n'
        'asserts = { kind = "detects-flips", up_to = 5 }\n'
    ),
}


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    written = tmp_path_factory.mktemp("claims") / "second.toml"
    written.write_text(HEAD + "".join(f'[[claim]]\nid = "{name}"\n{text}' for name, text in CLAIMS.items()))
    return str(written)


def test_claims_with_a_budget_of_one_second_are_left_open_within_seconds(path, capsys):
    began = time.process_time()
    assert main(["claims", path]) == 1
    spent_s = time.process_time() - began
    told = capsys.readouterr().out
    for name in CLAIMS:
        assert f"OPEN {name}" in told
    assert "3 claims: 0 proven, 0 refuted, 0 bounded, 3 open." in told
    assert told.count("To close it: about ") == len(CLAIMS)
    # Three claims of one second each by fixed costs; the factor is for slow machines. Undone they take days.
    assert spent_s < 30


def test_the_verdict_hangs_on_fixed_costs_and_not_on_a_clock(path, capsys, monkeypatch):
    assert main(["claims", path, "--json"]) == 1
    first = json.loads(capsys.readouterr().out)
    ticks = iter(range(0, 10**9, 3600))  # each look at a clock costs an hour
    for name in ("time", "monotonic", "perf_counter", "process_time", "thread_time"):
        monkeypatch.setattr(time, name, lambda: float(next(ticks)))
    assert main(["claims", path, "--json"]) == 1
    assert json.loads(capsys.readouterr().out) == first
