"""The course of every link against the main job's tallies, and the value read off a wire against the value sent."""

import dataclasses
import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import framesim as fs
from framesim.cli.main import main
from framesim.coverage.carriers import CARRIERS
from framesim.coverage.course_links import _on_the_wire
from framesim.coverage.course_record import Fate
from framesim.coverage.lines import lines_of
from framesim.coverage.passage import pass_window
from framesim.coverage.scenario import load_scenario
from framesim.coverage.traffic import Traffic
from framesim.coverage.value_course import value_course

SCENARIO = dataclasses.replace(load_scenario(None), severities=("fault",))
BESIDE = ("can-fd", "lin", "flexray", "ethernet", "sent")
N_VALUES = 5000  # more than one window


@pytest.fixture(scope="module")
def course():
    return value_course(SCENARIO, seconds=N_VALUES * SCENARIO.signal.every_s)


@pytest.mark.parametrize("name", BESIDE)
def test_each_link_has_the_fates_that_the_main_job_counts(name, course):
    engine = dataclasses.replace(SCENARIO.disturbance, severity="fault")
    link, slots = lines_of(SCENARIO, Traffic(SCENARIO))[name]
    events = engine.events(-0.05, N_VALUES * 0.01 + 0.05, SCENARIO.seed)
    tally = pass_window(link, slots, events, 0, N_VALUES, receivers=1, seed=1, idle=False).tally
    line = course.links[name]
    assert line.fate.size == tally.frames == N_VALUES
    assert line.count(Fate.CAUGHT) == tally.detected > 0
    assert line.count(Fate.WRONG) + line.count(Fate.MISSING) == tally.undetected + tally.unseen
    quiet = line.fate == Fate.RIGHT
    assert np.array_equal(line.read[quiet], line.sent[quiet])
    assert np.abs(line.sent - line.true).max() <= line.step  # what is sent is the signal, to a step of its 16 bits
    for slot in (5, 2047, 2048, 4321):  # and what the frame holds; contents repeat after 2048 slots
        frame = Traffic(SCENARIO).payload(slot)
        assert line.sent[slot] == pytest.approx(160 * int.from_bytes(frame[:2], "big") / 65535)


def test_sent_passes_a_wrong_frame_now_and_then_and_no_policy_helps(course):
    sent = course.links["sent"]
    passed = np.flatnonzero(sent.fate == Fate.WRONG)
    assert passed.size
    for values in sent.used.values():
        assert np.array_equal(values[passed], sent.read[passed])


@settings(deadline=None, max_examples=60)
@given(name=st.sampled_from(["can-fd", "lin", "flexray"]), payload=st.binary(min_size=8, max_size=8), data=st.data())
def test_a_value_is_read_off_the_wire_where_it_was_sent(name, payload, data):
    wire = fs.encode(CARRIERS[name].frame(payload))
    assert _on_the_wire(name, wire, wire.bits) == int.from_bytes(payload[:2], "big")
    span = next(span for span in wire.spans if span.name in ("data", "payload"))
    places = [place for place in range(span.start, span.stop) if place not in wire.inserted]
    nth = data.draw(st.integers(0, 15))
    weight = 8 * (1 - nth // 8) + (nth % 8 if name == "lin" else 7 - nth % 8)  # LIN sends the lowest bit first
    read = _on_the_wire(name, wire, wire.flipped([places[nth]]))
    assert read ^ int.from_bytes(payload[:2], "big") == 1 << weight
    others = [place for place in range(len(wire)) if place not in places[:16]]
    away = data.draw(st.sampled_from(others))
    assert _on_the_wire(name, wire, wire.flipped([away])) == int.from_bytes(payload[:2], "big")


def test_the_command_names_every_link_under_every_policy_within_eighty_columns(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    assert main(["course", "--seconds", "2"]) == 0
    shown = capsys.readouterr().out
    assert max(map(len, shown.splitlines())) <= 80
    for name in ("can", *BESIDE, "analog"):
        assert sum(line.split()[:1] == [name] and "(" in line for line in shown.splitlines()) == 1, name
    assert main(["course", "--seconds", "2", "--json"]) == 0
    assert list(json.loads(capsys.readouterr().out)["links"]) == ["can", *BESIDE, "analog"]
