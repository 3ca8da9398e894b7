"""Units of a scenario's campaign that keep the frames of the unit before, against units that begin afresh."""

import dataclasses
import threading

import pytest

from framesim.coverage.campaign import kept_lines
from framesim.coverage.campaign.scenario_windows import ScenarioWindows
from framesim.coverage.scenario import load_scenario

BUILT_IN = load_scenario(None)
WORK = ScenarioWindows(
    scenario=dataclasses.replace(
        BUILT_IN,
        severities=("fault",),
        links={"lin": BUILT_IN.links["lin"]},
        signal=dataclasses.replace(BUILT_IN.signal, every_s=0.08),
    )
)


def slower(work):
    """The same work with half as many values a second: other frames in every slot."""
    signal = dataclasses.replace(work.scenario.signal, every_s=0.16)
    return ScenarioWindows(scenario=dataclasses.replace(work.scenario, signal=signal))


def afresh(work, seed, number):
    kept_lines._OWN.__dict__.clear()
    return work.unit(seed, number)


def test_units_that_follow_each_other_give_what_each_gives_alone():
    asked = [(WORK, 1, 0), (WORK, 1, 3), (WORK, 2, 3), (slower(WORK), 2, 3), (WORK, 2, 3)]
    kept_lines._OWN.__dict__.clear()
    together = [work.unit(seed, number) for work, seed, number in asked]
    alone = [afresh(*each) for each in asked]
    assert together == alone
    assert together[2] == together[4]
    assert together[2] != together[3]
    assert all(unit.counts["fault.lin.frames"] for unit in together)


def test_frames_are_laid_out_once_for_all_units_of_a_seed(monkeypatch):
    made, real = [], kept_lines.lines_of

    def counted(*arguments):
        made.append(arguments)
        return real(*arguments)

    monkeypatch.setattr(kept_lines, "lines_of", counted)
    kept_lines._OWN.__dict__.clear()
    scenario = WORK.scenario
    first = kept_lines.lines_kept(scenario)
    assert kept_lines.lines_kept(dataclasses.replace(scenario, severities=("good",), receivers=2)) is first
    assert len(made) == 1
    assert kept_lines.lines_kept(dataclasses.replace(scenario, seed=scenario.seed + 1)) is not first
    assert len(made) == 2


@pytest.mark.parametrize(
    "change", [{"sender": {"identifier": 0x1A5}}, {"link": {"bit_rate": 250_000.0}}, {"links": {}}]
)
def test_whatever_a_frame_depends_on_makes_new_frames(change):
    ((name, values),) = change.items()
    scenario = WORK.scenario
    first = kept_lines.lines_kept(scenario)
    part = dataclasses.replace(getattr(scenario, name), **values) if values else {}
    assert kept_lines.lines_kept(dataclasses.replace(scenario, **{name: part})) is not first


def test_threads_do_not_share_what_is_kept():
    mine = kept_lines.lines_kept(WORK.scenario)
    theirs = []
    thread = threading.Thread(target=lambda: theirs.append(kept_lines.lines_kept(WORK.scenario)))
    thread.start()
    thread.join()
    assert theirs[0] is not mine
