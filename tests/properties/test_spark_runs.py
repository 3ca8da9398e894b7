"""Runs under an engine keep what was done, and give the same bytes however they are cut."""

import dataclasses

import pytest

from framesim.coverage import residual_of_lines, windows
from framesim.coverage.measure import measure_coverage
from framesim.coverage.scenario import load_scenario

SCENARIO = load_scenario(None)
SENT_TOO = dataclasses.replace(
    SCENARIO, hours=30 / 3600, severities=("poor", "fault"), receivers=2, links={"sent": SCENARIO.links["sent"]}
)


def test_an_interruption_while_strata_are_worked_out_keeps_every_frame_drawn(monkeypatch):
    real, asked = residual_of_lines.spark_residual, []

    def impatient(*arguments, **named):
        asked.append(arguments[0].network)
        if len(asked) == 4:  # both links of "poor", the first of "fault", and then
            raise KeyboardInterrupt
        return real(*arguments, **named)

    monkeypatch.setattr(residual_of_lines, "spark_residual", impatient)
    report = measure_coverage(SENT_TOO)
    assert report.partial
    assert report.hours == pytest.approx(30 / 3600)
    assert {frames.tally.frames for frames in report.frames} == {3000}
    kept = {(frames.network, frames.column) for frames in report.frames if frames.computed is not None}
    assert ("can", "fault") in kept
    assert ("sent", "fault") not in kept


def test_a_run_cut_into_other_windows_gives_the_same_bytes(monkeypatch):
    few = dataclasses.replace(SENT_TOO, severities=("fault",))
    whole = measure_coverage(few).to_json()
    monkeypatch.setattr(windows, "WINDOW_S", 7.3)
    assert measure_coverage(few).to_json() == whole
