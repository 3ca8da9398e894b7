"""Claims beside an engine against the coverage run of the same frames, and however the run is cut."""

from dataclasses import replace

import pytest

import framesim as fs
from framesim.claims import engine
from framesim.claims.claim import FirstToSpeak
from framesim.claims.reading import load_claims
from framesim.claims.subject import FrameSubject
from framesim.coverage.traffic import Traffic

SUBJECT = FrameSubject(network="can", frames=(fs.CanFrame(identifier=0x1A4, payload=bytes(8)),), payload="random")
FAULT = fs.Ignition(speed_rpm=2950, severity="fault")
ASSERTS = FirstToSpeak(check="crc", at_least=0.5)


def test_the_same_frames_give_the_same_tally_as_a_coverage_run(monkeypatch):
    scenario = replace(fs.load_scenario(None), hours=0.02, severities=("fault",), seed=7)
    due = fs.measure_coverage(scenario).frames[0].tally
    monkeypatch.setattr(engine, "_chosen", lambda *_: Traffic(scenario).frame)
    claimed = replace(scenario, disturbance=replace(scenario.disturbance, severity="fault"))
    tally = engine.run_engine("x", SUBJECT, claimed, seed=7, budget_s=due.frames * engine.SECONDS_A_FRAME * (1 + 1e-9))
    assert tally == due
    assert tally.disturbed > 0


def test_the_tally_does_not_depend_on_how_the_run_is_cut(monkeypatch):
    scenario = engine.engine_scenario(SUBJECT, FAULT, ASSERTS)
    whole = engine.run_engine("x", SUBJECT, scenario, seed=1, budget_s=0.3)
    monkeypatch.setattr(engine, "AT_ONCE", 700)
    assert engine.run_engine("x", SUBJECT, scenario, seed=1, budget_s=0.3) == whole
    assert whole.disturbed > 0
    assert engine.run_engine("x", SUBJECT, scenario, seed=2, budget_s=0.3) != whole


def test_too_small_a_budget_leaves_the_claim_open():
    scenario = engine.engine_scenario(SUBJECT, FAULT, ASSERTS)
    with pytest.raises(fs.NotFeasible, match="fewer than 1000 frames beside an engine"):
        engine.run_engine("x", SUBJECT, scenario, seed=1, budget_s=0.01)


def test_the_claim_of_the_street_sweeper_runs_at_the_traffic_it_names():
    claim = {claim.name: claim for claim in load_claims(None).claims}["sweeper-per-hour"]
    scenario = engine.engine_scenario(claim.subject, claim.channel, claim.asserts)
    assert scenario.signal.every_s == pytest.approx(0.01)
    assert scenario.severities == ("fault",)


def test_frames_of_a_list_take_turns():
    frames = tuple(fs.CanFrame(identifier=1, payload=bytes([number] * 3)) for number in range(3))
    chosen = engine._chosen("x", FrameSubject(network="can", frames=frames, payload="list"), 1)
    assert [chosen(slot).payload[0] for slot in range(5)] == [0, 1, 2, 0, 1]
