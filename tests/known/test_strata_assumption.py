"""What the rate by strata takes for granted is said wherever it is printed, with the limit that does without it."""

import dataclasses
import json
import math

import pytest
from rich.console import Console
from scipy.stats import beta

from framesim.coverage.intervals import clopper_pearson
from framesim.coverage.measure import measure_coverage
from framesim.coverage.scenario import load_scenario
from framesim.report.coverage_strata import strata_rows
from framesim.report.coverage_text import draw_coverage

ASSUMED = "patterns put at other places taken as independent"
BUILT_IN = load_scenario(None)
SCENARIO = dataclasses.replace(
    BUILT_IN,
    hours=30 / 3600,
    severities=("fault",),
    receivers=1,
    links={name: BUILT_IN.links[name] for name in ("lin", "sent")},
)


@pytest.fixture(scope="module")
def report():
    return measure_coverage(SCENARIO)


def test_without_the_assumption_each_disturbed_frame_counts_once(report):
    (lin,) = [frames for frames in report.frames if frames.network == "lin"]
    computed = lin.computed
    assert not computed.estimate.best
    upper = []
    for stratum in computed.strata:
        if stratum.every:  # every place of some frames: nothing was drawn
            assert not stratum.assumed
            continue
        assert stratum.tried > stratum.origins > 0
        assert stratum.assumed
        weight = clopper_pearson(stratum.frames, computed.frames, confidence=0.975).high
        # none of n: 1 - (risk / 2)^(1 / n), Clopper and Pearson, Biometrika 26 (1934)
        upper.append(weight * (1 - 0.0125 ** (1 / stratum.origins)))
    assert len(upper) == 2
    assert computed.high_by_frames == pytest.approx(math.hypot(*upper), rel=1e-9)
    assert computed.high_by_frames > 2 * computed.estimate.high


def test_the_method_names_the_assumption_where_it_was_made_and_nowhere_else(report):
    links = {
        link["link"]: link["computed"] for link in json.loads(report.to_json())["links"] if link["link"] != "analog"
    }
    assert ASSUMED in links["lin"]["method"]
    assert ASSUMED in links["can"]["method"]
    # edges of SENT stay where they were, so disturbed frames count anyway
    assert ASSUMED not in links["sent"]["method"]
    assert links["sent"]["high_by_frames"] >= links["sent"]["high"]


def test_where_some_passed_the_limit_by_frames_counts_each_frame_once_as_well(report):
    (sent,) = [frames.computed for frames in report.frames if frames.network == "sent"]
    some = [stratum for stratum in sent.strata if 0 < stratum.undetected < stratum.tried]
    assert some
    for stratum in some:
        assert not stratum.assumed
        risk, share = 0.0125, stratum.undetected / stratum.tried
        # Clopper and Pearson's upper limit of a share of so many frames: as many or fewer seen, once in 80
        seen = share * stratum.origins
        assert beta.cdf(stratum.by_frames.high, seen + 1, stratum.origins - seen) >= 1 - risk - 1e-9
        assert stratum.by_frames.high >= stratum.share.high


def test_screen_and_page_show_the_limit_and_the_assumption(report, capsys):
    draw_coverage(Console(width=100), report)
    drawn = capsys.readouterr().out
    (row,) = [line.split() for line in drawn.splitlines() if line.strip().startswith("by frames, at most")]
    assert len(row) == 4 + 3
    assert float(row[5]) == pytest.approx(
        next(frames.computed.high_by_frames for frames in report.frames if frames.network == "lin"), rel=0.1
    )
    assert "count as independent: an assumption" in " ".join(drawn.split())
    record = json.loads(report.to_json())
    (place,) = [number for number, link in enumerate(record["links"]) if link["link"] == "lin"]
    rows = strata_rows(record, [(place, record["links"][place])])  # of the page
    assert ASSUMED in rows[1][0]
    assert rows[2][0].startswith("  at most, if each disturbed frame counts once")
    assert rows[2][0].endswith("(95 %)")
    assert rows[2][1].value == repr(record["links"][place]["computed"]["high_by_frames"])
