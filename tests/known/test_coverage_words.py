"""What the coverage report says, word by word, for a report made by hand."""

import io

import pytest
from rich.console import Console

import framesim as fs
from framesim.coverage.funnel import Funnel
from framesim.coverage.result import AnalogResult, CoverageReport, FrameResult
from framesim.coverage.tally import SilentErrors, Tally
from framesim.errors import BadArgument
from framesim.report.coverage_text import draw_coverage, sentences

CRC, FORM = fs.Check.CRC, fs.Check.FORM


def report(*, undetected=0):
    tally = Tally(
        frames=1000, disturbed=12, flips=14, detected=10 - undetected, undetected=undetected, unseen=1,
        first={CRC: 7, FORM: 3 - undetected}, alone={CRC: 9, FORM: 4},
    )  # fmt: skip
    frames = FrameResult(
        network="can", column="fault", tally=tally, funnel=Funnel(touched=40, toggled=20, flipped=12),
        confidence=0.95, frames_per_hour=2000.0, idle_flips=77,
    )  # fmt: skip
    silent = SilentErrors(
        samples=1000, wrong=200, implausible=3, off_by={2: 200, 5: 50},
        largest=9, own_ground=6,
    )  # fmt: skip
    analog = AnalogResult(
        column="fault", silent=silent, wrong_from_lsb=2, lsb_value=0.5, unit="bar", confidence=0.95,
        samples_per_hour=2000.0,
    )  # fmt: skip
    source = {"fault": {"source": {"kind": "ignition", "speed_rpm": 2950.0}}}
    return CoverageReport(
        title="Sweeper\x1b[31m", note="invented", seed=4, hours=0.5, partial=False, columns=("fault",),
        frames=(frames,), analog=(analog,), disturbance=source,
    )  # fmt: skip


def screen(given, width=80):
    out = io.StringIO()
    draw_coverage(Console(file=out, width=width, color_system=None, legacy_windows=False, _environ={}), given)
    return out.getvalue()


def test_the_sentence_counts_what_was_seen_and_bounds_what_was_not():
    # None of 1000: Clopper-Pearson, two-sided 95 %: 1 - 0.025^(1/1000) = 0.003682; at 2000 frames an hour 7.4.
    assert sentences(report()) == [
        "Fault (a cracked or touching ignition lead), 0.5 h at 2,950 rpm: 200 of 1,000 values (20.0%) silently wrong "
        "on the analog line; 12 of 1,000 frames disturbed; caught first by crc 7, form 3; none undetected, so fewer "
        "than 7.4 an hour (95\u00a0%, Clopper-Pearson)."
    ]


def test_an_undetected_frame_is_told_with_its_interval():
    # 1 of 1000: Clopper-Pearson, two-sided 95 %: 2.53e-5 to 5.56e-3 (scipy.stats.binomtest gives the same).
    (sentence,) = sentences(report(undetected=1))
    assert "1 accepted wrong: 1.0e-3 per frame (2.5e-5 to 5.6e-3; 95 %, Clopper-Pearson)" in sentence


def test_the_tables_hold_the_counts_and_round_limits_outwards():
    rows = {" ".join(line.split()[:-1]): line.split()[-1] for line in screen(report()).splitlines() if line.strip()}
    assert rows["silently wrong, by 1 bar or more"] == "200"
    assert rows["with a ground of its own"] == "6"
    assert rows["off by 2.5 bar or more"] == "50"
    assert rows["largest error, bar"] == "4.5"
    assert rows["a fast transient inside"] == "40"
    assert rows["comparator toggled"] == "20"
    assert rows["disturbed: a bit read wrong"] == "12"
    assert rows["delivered: ACK slot, last EOF bit"] == "1"
    assert rows["first to speak: crc"] == "7"
    assert rows["alone: crc would have"] == "9"
    assert rows["never seen as a frame"] == "1"
    assert rows["false starts on the idle wire"] == "77"
    assert rows["95 % Clopper-Pearson below"] == "3.69e-3"  # 0.003682 rounded up
    assert "0.175…0.227" in screen(report())  # 0.17562 and 0.22616 rounded outwards


def test_text_from_a_scenario_cannot_command_the_terminal():
    assert "\x1b" not in screen(report())


@pytest.mark.parametrize("width", [80, 120])
def test_lines_keep_to_the_width(width):
    assert max(map(len, screen(report(), width).splitlines())) <= width


def test_json_has_no_best_estimate_where_nothing_was_seen():
    link = report().frames[0].to_json(seed=4)
    assert link["probability"] is None
    assert link["low"] == 0
    assert link["high"] == pytest.approx(0.003682, abs=1e-6)
    assert link["per_hour"]["rate"] is None
    assert link["coverage"]["probability"] is None  # none of twelve missed bounds the coverage, it is not 100 %
    assert link["coverage"]["low"] == pytest.approx(0.7354, abs=1e-4)
    assert link["counts"]["disturbed_but_delivered"] == 1


def test_tallies_that_cannot_be_are_refused():
    with pytest.raises(BadArgument, match="first to speak must sum"):
        Tally(frames=3, disturbed=2, detected=2, first={CRC: 1})
    with pytest.raises(BadArgument, match="more verdicts than frames"):
        Tally(frames=1, disturbed=2)


def test_tallies_add_up():
    one = Tally(frames=3, disturbed=1, flips=1, detected=1, first={CRC: 1}, alone={CRC: 1})
    other = Tally(frames=2, disturbed=2, flips=3, detected=1, undetected=1, first={FORM: 1}, alone={FORM: 1, CRC: 1})
    both = one + other
    assert (both.frames, both.disturbed, both.flips, both.detected, both.undetected) == (5, 3, 4, 2, 1)
    assert both.first == {CRC: 1, FORM: 1}
    assert both.alone == {CRC: 2, FORM: 1}
    assert both.delivered == 2
