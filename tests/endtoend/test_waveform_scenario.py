"""A recorded waveform as the disturbance of a scenario: the same flips as the waveform command, and clear errors."""

import dataclasses
import json
import pathlib

import jsonschema
import numpy as np
import pytest
from scenario_texts import ONE_LINK

import framesim as fs
from framesim.cli.main import main
from framesim.coverage.campaign.scenario_windows import ScenarioWindows
from framesim.coverage.fit.flip_record import draw_flips, random_levels
from framesim.coverage.recording import record_cause
from framesim.coverage.scenario import load_scenario
from framesim.coverage.spark_slips import spark_slips
from framesim.coverage.traffic import Traffic
from framesim.coverage.windows import parts_of
from framesim.disturbance import CanLink, Ignition, RecordedWaveform
from framesim.disturbance.waveform import Waveform
from framesim.disturbance.waveform_file import write_waveform
from framesim.disturbance.waveform_link import recorded_hits
from framesim.errors import BadArgument, NotFeasible
from framesim.report.coverage_page import coverage_page

ROOT = pathlib.Path(__file__).parents[2]
SCHEMA = json.loads((ROOT / "docs" / "coverage.schema.json").read_text(encoding="utf-8"))
RATE = 2e7


def scenario_text(every_s=0.0005, link="", hours="", **keys):
    before, rest = ONE_LINK.split("[disturbance]")
    dropped = ("severities", "hours")
    before = "\n".join(line for line in before.splitlines() if not line.startswith(dropped))
    signal = rest[rest.index("[signal]") :].replace("[analog]", "").replace("0.010", str(every_s))
    signal = signal.replace("[link]", f"[link]\n{link}")
    told = "".join(f"{name} = {json.dumps(value)}\n" for name, value in keys.items())
    return f'{before}\n{hours}\n[disturbance]\nkind = "waveform"\n{told}\n{signal}'


@pytest.fixture(scope="module")
def harsh(tmp_path_factory):
    """A folder with 24 ms of a badly balanced pair beside a faulty engine, and scenarios that play them."""
    folder = tmp_path_factory.mktemp("recording")
    engine = dataclasses.replace(
        load_scenario(None), severities=("fault",), links={}, receivers=1,
        link=CanLink(conversion_loss_db=12), disturbance=Ignition(restrikes_mean=10, speed_rpm=9000),
    )  # fmt: skip
    wave = record_cause(engine, seconds=0.024, rate_hz=RATE, start_s=0.006)
    write_waveform(str(folder / "harsh.npy"), wave)
    (folder / "once.toml").write_text(scenario_text(file="harsh.npy", rate_hz=RATE, start_s=0.006))
    return folder


def flips_of(scenario):
    """The flipped bits of each disturbed frame of a scenario, by slot."""
    traffic, cause = Traffic(scenario), scenario.disturbance
    slots = scenario.slots
    bits = (traffic.first_bit(slots.start), traffic.first_bit(slots.stop))
    flipped = cause.walk(scenario.link, *bits, 0, traffic.levels).flipped
    places = zip(*(column.tolist() for column in traffic.slots_of(flipped)), strict=True)
    found = {}
    for slot, bit in places:
        if 0 <= bit < len(traffic.wire(slot)):
            found.setdefault(slot, []).append(bit)
    return traffic, found


def test_each_frame_meets_the_flips_that_the_waveform_command_finds_there(harsh, capsys):
    scenario = load_scenario(str(harsh / "once.toml"))
    assert scenario.slots == range(12, 60)
    report = fs.measure_coverage(scenario)
    (frames,) = report.frames
    traffic, found = flips_of(scenario)
    assert len(found) == frames.tally.disturbed >= 5
    assert sum(map(len, found.values())) == frames.tally.flips >= 5
    first, outcomes = round(0.006 * scenario.link.bit_rate), []
    for slot in [slot for slot in scenario.slots if slot in found or slot % 8 == 0]:
        begin, wire = int(traffic.sent_at(slot, 1)[0]), traffic.wire(slot)
        words = [str(harsh / "harsh.npy"), "can", "--identifier", "0x1A4", "--payload", wire.frame.payload.hex()]
        period = len(wire) + 3
        words += ["--rate", str(RATE), "--start", "0.006", "--first-bit", str((first - begin) % period), "--json"]
        assert main(["waveform", "read", *words]) == 0
        told = json.loads(capsys.readouterr().out)
        here = [flip + first - begin for flip in told["flips"] if 0 <= flip + first - begin < len(wire)]
        assert here == found.get(slot, [])
        outcomes += [each["outcome"] for each in told["frames"] if here and each["flips"] == here][:1]
    assert outcomes.count("detected") == frames.tally.detected
    assert outcomes.count("undetected") == frames.tally.undetected


def test_the_json_fits_its_schema_and_names_the_recording_by_its_samples(harsh):
    report = fs.measure_coverage(load_scenario(str(harsh / "once.toml")))
    record = json.loads(report.to_json())
    jsonschema.validate(record, SCHEMA)
    (link,) = record["links"]
    assert link["column"] == "waveform"
    assert link["counts"]["frames"] == 48
    assert link["counts"]["idle_flips"] is None
    assert link["funnel"]["touched"] >= link["funnel"]["toggled"] >= link["funnel"]["flipped"] > 0
    assert record["hours"] == pytest.approx(0.024 / 3600)
    source = record["disturbance"]["waveform"]["source"]
    assert source["file"] == "harsh.npy"
    assert len(source["sha256"]) == 64
    assert "bandwidth_hz" not in record["disturbance"]["waveform"]["link"]
    page = coverage_page(report, load_scenario(str(harsh / "once.toml")))
    assert "harsh.npy" in page
    assert "engine time" not in page


def test_a_recording_played_again_is_one_long_recording_of_it_with_silence_between(harsh):
    (harsh / "again.toml").write_text(
        scenario_text(file="harsh.npy", rate_hz=RATE, start_s=0.006, repeat_s=0.0331, hours="hours = 2.75e-5")
    )
    again = load_scenario(str(harsh / "again.toml"))
    assert again.slots == range(198)
    long = again.disturbance.over(0.0, RATE, round(0.099 * RATE) + 1)
    write_waveform(str(harsh / "long.npy"), long)
    (harsh / "long.toml").write_text(scenario_text(file="long.npy", rate_hz=RATE))
    once = load_scenario(str(harsh / "long.toml"))
    assert once.slots == range(198)
    assert flips_of(once)[1] == flips_of(again)[1]
    parts = [part for scenario in (once, again) for *_, part in parts_of(scenario, Traffic(scenario), {})]
    assert parts[0].passages["can"].tally == parts[1].passages["can"].tally
    assert parts[1].passages["can"].tally.disturbed > 10


def test_loss_low_pass_and_pace_are_those_of_the_command(harsh, capsys):
    raw = Waveform(start_s=0.0, rate_hz=RATE, volts=np.load(harsh / "harsh.npy") * 10 ** (10 / 20))
    write_waveform(str(harsh / "raw.npy"), raw)
    quieter = RecordedWaveform(file=str(harsh / "raw.npy"), rate_hz=RATE, loss_db=10).waveform
    assert quieter.volts == pytest.approx(np.load(harsh / "harsh.npy"), rel=1e-12)
    keys = {"loss_db": 10, "low_pass_hz": 4e6, "resample_hz": 1.5e7}
    recorded = RecordedWaveform(file=str(harsh / "raw.npy"), rate_hz=RATE, **keys)
    words = ["--rate", str(RATE), "--loss", "10", "--low-pass", "4e6", "--resample", "1.5e7", "--json"]
    frame = ["can", "--identifier", "0x1A4", "--payload", "9F3C07"]
    assert main(["waveform", "read", str(harsh / "raw.npy"), *frame, *words]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["samples"] == recorded.describe()["samples"]
    assert told["peak_volts"] == recorded.describe()["peak_volts"]


def test_fit_and_slips_take_the_recording(harsh):
    scenario = load_scenario(str(harsh / "once.toml"))
    record = draw_flips(scenario, 60)
    cause = scenario.disturbance
    wanted = recorded_hits(scenario.link, cause.waveform, lambda bits: random_levels(bits, scenario.seed))
    assert record.n_bits == wanted.stop_bit - wanted.first_bit == 12_000
    assert record.flips.tolist() == (wanted.flipped - wanted.first_bit).tolist()
    assert record.flips.size > 10
    assert record.active
    assert all(any(start <= flip < stop for start, stop in record.active) for flip in record.flips.tolist())
    study = spark_slips(scenario, frames=1000)
    _, found = flips_of(scenario)
    assert study.frames == 48
    assert sum(study.fixed.values()) == len(found)
    assert study.severity == "harsh.npy"


def test_a_campaign_plays_it_again_and_again_or_refuses(harsh):
    with pytest.raises(NotFeasible, match="repeat_s"):
        ScenarioWindows(scenario=load_scenario(str(harsh / "once.toml")))
    work = ScenarioWindows(scenario=load_scenario(str(ROOT / "docs/demo/recording.toml")))
    counts = work.unit(1, 0).counts
    assert counts["waveform.frames"] == 4000
    assert counts["waveform.disturbed"] > 5


def test_the_demo_scenario_runs_and_says_what_it_is(capsys):
    path = str(ROOT / "docs/demo/recording.toml")
    assert main(["coverage", path, "--hours", "0.01"]) == 0
    drawn = " ".join(capsys.readouterr().out.split())
    assert "Recording spark.csv" in drawn
    assert "stands for no hour of driving" in drawn
    assert main(["course", path, "--seconds", "2"]) == 0
    capsys.readouterr()
    assert (
        main(["waveform", "write", "/dev/null", "can", "--identifier", "1", "--payload", "", "--scenario", path]) == 2
    )
    assert "is a recording already" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ({"file": "none.csv"}, "disturbance.file='none.csv': "),
        ({"file": "harsh.npy"}, "disturbance.rate_hz: missing; a .npy file holds volts only"),
        ({"file": "once.toml"}, "expected a name that ends in .csv (time and volts) or .npy (volts)"),
        ({"file": "bad.csv"}, "bad.csv: line 3: "),
        ({}, "disturbance.file: missing; expected text in quotes"),
        ({"file": "harsh.npy", "rate_hz": "fast"}, "disturbance.rate_hz: expected a finite number, got 'fast'"),
        ({"file": "harsh.npy", "rate_hz": RATE, "repeat_s": 0.01}, "disturbance.repeat_s=0.01: must not be less than"),
        ({"file": "harsh.npy", "rate_hz": RATE, "lost_db": 3}, "disturbance.lost_db: unknown key; did you mean"),
        ({"file": "harsh.npy", "rate_hz": RATE, "every_s": 0.03}, "holds no whole slot"),
        ({"file": "harsh.npy", "rate_hz": RATE, "hours": "hours = 2"}, "hours: does nothing, the recording is played"),
        (
            {"file": "harsh.npy", "rate_hz": RATE, "link": "bandwidth_hz = 1e7"},
            "link.bandwidth_hz: does nothing under a recorded waveform",
        ),
    ],
)
def test_a_slip_names_file_key_and_form(keys, told, harsh, capsys):
    (harsh / "bad.csv").write_text("time_s,volts\n0,1\n1e-6,x\n2e-6,1\n")
    path = harsh / "slip.toml"
    path.write_text(scenario_text(**keys))
    assert main(["coverage", str(path)]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert str(path) in said
    assert told in said


def test_options_that_the_recording_decides_are_refused(harsh, capsys):
    assert main(["coverage", str(harsh / "once.toml"), "--hours", "1"]) == 2
    assert "the recording is played once" in capsys.readouterr().err
    with pytest.raises(BadArgument, match="loss_db"):
        RecordedWaveform(file=str(harsh / "harsh.npy"), rate_hz=RATE, loss_db=-1.0)
