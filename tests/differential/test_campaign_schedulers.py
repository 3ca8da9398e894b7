"""One process, several, a cluster, a run in pieces: one result. And each work against a plain loop."""

import dataclasses
import itertools
import random

import pytest
from toy_work import ToyWork

import framesim as fs
from framesim.coverage.campaign.cluster import Cluster
from framesim.coverage.campaign.compiled_frames import CompiledFrames
from framesim.coverage.campaign.identity import campaign_of, work_hash
from framesim.coverage.campaign.judged_frames import JudgedFrames
from framesim.coverage.campaign.processes import Processes
from framesim.coverage.campaign.rules import Rules
from framesim.coverage.campaign.running import run_campaign
from framesim.coverage.campaign.scenario_windows import ScenarioWindows
from framesim.coverage.campaign.scheduler import InProcess, Task, compute
from framesim.coverage.measure import measure_coverage
from framesim.coverage.population import Payloads
from framesim.coverage.scenario import SWEEPER, scenario_from_text
from framesim.disturbance import Bursts, ExactFlips, GilbertElliott, Markov, Scatter
from framesim.judging import encode, judge

SEED = 20_251_125
RULES = {
    "frames": Rules(frames=23_500),
    "undetected": Rules(undetected=50),
    "target": Rules(target=0.2),
    "first of all": Rules(frames=1_000_000, undetected=100_000, target=0.15, confidence=0.9),
}


class Shuffled:
    """Finishes units in a random order, as many workers of very different speed would."""

    def __init__(self, seed, ahead):
        self.chance, self.ahead = random.Random(seed), ahead

    def results(self, task, numbers):
        hand = list(itertools.islice(numbers, self.ahead))
        while hand:
            number = hand.pop(self.chance.randrange(len(hand)))
            hand += itertools.islice(numbers, 1)
            yield number, task.work.unit(task.seed, number)


@pytest.mark.parametrize("rules", RULES.values(), ids=RULES.keys())
@pytest.mark.parametrize("columns", [("",), ("good", "poor")])
def test_any_order_of_finishing_and_any_pieces_give_one_result(rules, columns, tmp_path):
    work = ToyWork(columns=columns)
    expected = run_campaign(work, seed=3, rules=rules).to_json()
    chance = random.Random(SEED)
    for turn in range(5):
        path = str(tmp_path / f"c{turn}")
        for _ in range(chance.randrange(4)):  # pieces: shorter runs with other rules come before
            piece = Rules(frames=chance.randrange(1, 20_000))
            first = chance.randrange(12)
            run_campaign(work, seed=3, rules=piece, into=path, first_unit=first, scheduler=Shuffled(turn, 3))
        into = None if turn == 0 else path
        done = run_campaign(work, seed=3, rules=rules, into=into, scheduler=Shuffled(turn, 1 + turn))
        assert done.to_json() == expected


def test_rules_end_a_campaign_at_the_first_unit_that_meets_them():
    for rules in RULES.values():
        done = run_campaign(ToyWork(), seed=3, rules=rules)
        assert done.stopped_by is not None
        units = done.totals.units
        assert units > 2
        one_less = run_campaign(ToyWork(), seed=3, rules=Rules(frames=1000 * (units - 1), confidence=rules.confidence))
        assert rules.met(one_less.totals) is None
        assert rules.met(done.totals) == done.stopped_by


def test_as_many_undetected_frames_as_asked_for_are_enough():
    seen = run_campaign(ToyWork(), seed=3, rules=Rules(frames=4000)).totals.undetected
    done = run_campaign(ToyWork(), seed=3, rules=Rules(undetected=seen))
    assert seen > 0
    assert done.totals.undetected == seen


@pytest.fixture(scope="module")
def lin_work():
    return JudgedFrames(
        subject=Payloads(frame=fs.LinFrame(identifier=0x12, payload=bytes(4))),
        channel=ExactFlips(count=3),
        frames_per_unit=40,
    )


def test_one_two_and_four_workers_give_the_same_bytes(lin_work, tmp_path):
    rules = Rules(frames=320)
    expected = run_campaign(lin_work, seed=5, rules=rules).to_json()
    for workers in (1, 2, 4):
        path = str(tmp_path / f"c{workers}")
        assert (
            run_campaign(lin_work, seed=5, rules=rules, into=path, scheduler=Processes(workers)).to_json() == expected
        )


def test_what_a_unit_raises_on_a_worker_comes_back_as_it_was(tmp_path):
    for scheduler in (InProcess(), Processes(2)):
        with pytest.raises(fs.BadArgument, match="unit 2: told to fail"):
            run_campaign(ToyWork(fails=2), seed=1, rules=Rules(frames=9000), scheduler=scheduler)


def test_a_worker_with_other_versions_does_not_join_in():
    task = Task(ToyWork(), 1, campaign_of(ToyWork(), 1).hash)
    assert compute(task, 0) == ToyWork().unit(1, 0)
    with pytest.raises(fs.BadInput, match="expected the same versions of framesim and numpy"):
        compute(task._replace(hash="00" * 32), 0)


@pytest.mark.filterwarnings("default")  # what Dask warns of while a worker of its own is killed is not ours
def test_a_dask_cluster_that_loses_a_worker_mid_run_gives_the_same_bytes(tmp_path):
    from distributed import LocalCluster

    marker = tmp_path / "died"
    rules = Rules(frames=30_000)
    expected = run_campaign(ToyWork(), seed=1, rules=rules).to_json()
    work = ToyWork(seconds=0.01, ends_worker=11, marker=str(marker))
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as cluster:
        path = str(tmp_path / "c")
        done = run_campaign(work, seed=1, rules=rules, into=path, scheduler=Cluster(cluster.scheduler_address))
        assert done.to_json() == expected
        assert marker.exists()
        with pytest.raises(fs.BadArgument, match="unit 2: told to fail"):
            run_campaign(
                ToyWork(fails=2), seed=1, rules=rules, scheduler=Cluster(cluster.scheduler_address, most_waiting=1)
            )


@pytest.mark.parametrize(
    "channel",
    [
        Scatter(bit_error_ratio=0.004),
        ExactFlips(count=2),
        GilbertElliott(good_to_bad=0.001, bad_to_good=0.1, good_error=0.0, bad_error=0.4),
        Bursts(starts_per_bit=0.001, mean_length=6.0),
        Markov(step=((0.99, 0.01), (0.3, 0.7)), error=(0.0, 0.5)),
    ],
    ids=lambda channel: channel.describe()["kind"],
)
@pytest.mark.parametrize(
    "frame",
    [
        fs.CanFrame(identifier=0x123, payload=bytes(3)),
        fs.LinFrame(identifier=0x12, payload=bytes(2)),
        fs.CanFdFrame(identifier=0x123, payload=bytes(2)),
    ],
    ids=lambda frame: type(frame).__name__,
)
def test_judged_frames_count_what_the_judge_says_of_each(frame, channel):
    work = JudgedFrames(subject=Payloads(frame=frame), channel=channel, frames_per_unit=200)
    for number in (0, 3):
        sent, hits = work._sent(9, number), work._hits(work._sent(9, number), 9, number)
        assert all(len(set(bits)) == len(bits) and max(bits) < len(sent[row]) for row, bits in hits.items())
        verdicts = [judge(wire, wire.flipped(hits.get(row, []))) for row, wire in enumerate(sent)]
        found = work.unit(9, number)
        for outcome in ("delivered", "detected", "undetected", "unseen"):
            assert found.counts[outcome] == sum(verdict.outcome == outcome for verdict in verdicts), outcome
        assert found.counts["frames"] == 200
        assert found.counts["disturbed"] == len(hits)
        assert found.counts["flips"] == sum(map(len, hits.values()))
        spoken = {f"first.{verdict.check.value}" for verdict in verdicts if verdict.check}
        assert spoken == {name for name in found.counts if name.startswith("first.")}
        assert sum(found.counts[name] for name in spoken) == found.counts["detected"]
        listed = [case["frame"] - 200 * number for case in found.cases]
        assert listed == [row for row, verdict in enumerate(verdicts) if verdict.outcome == "undetected"][:16]


def test_listed_cases_are_undetected_when_put_before_the_judge_again(lin_work):
    done = run_campaign(lin_work, seed=5, rules=Rules(undetected=3))
    assert len(done.totals.cases) >= 3
    for case in done.totals.cases:
        sent = encode(frame_of(case["sent"]))
        assert judge(sent, sent.flipped(case["flips"])).outcome == "undetected"


def frame_of(record):
    """Return the LIN frame that a case names."""
    fields = {name: value for name, value in record.items() if name != "network"}
    return fs.LinFrame(**{**fields, "payload": bytes.fromhex(fields["payload"])})


def test_units_are_no_repeats_of_each_other(lin_work):
    payloads = {frame.frame.payload for number in range(4) for frame in lin_work._sent(5, number)}
    assert len(payloads) == 160
    one, other = (lin_work._hits(lin_work._sent(5, 0), 5, number) for number in (0, 1))
    assert one != other
    assert lin_work.unit(5, 1) == lin_work.unit(5, 1)
    assert lin_work.unit(6, 1) != lin_work.unit(5, 1)


def test_scenario_windows_add_up_to_the_coverage_report():
    scenario = scenario_from_text(SWEEPER, file="built-in")
    scenario = dataclasses.replace(scenario, hours=80 / 3600)
    report = measure_coverage(scenario)
    done = run_campaign(ScenarioWindows(scenario=scenario), seed=scenario.seed, rules=Rules(frames=8000)).totals
    analog = {line.column: line.silent for line in report.analog}
    for found in report.frames:
        counts = done.column(found.column)
        if found.network != scenario.sender.network:
            names = ("frames", "disturbed", "flips", "detected", "undetected", "unseen", "delivered")
            assert [counts[f"{found.network}.{name}"] for name in names] == [
                getattr(found.tally, name) for name in names
            ]
            continue
        tally, silent = found.tally, analog[found.column]
        assert counts["frames"] == tally.frames == 8000
        for name in ("disturbed", "flips", "detected", "undetected", "unseen", "delivered"):
            assert counts[name] == getattr(tally, name), name
        assert counts["idle_flips"] == found.idle_flips
        assert counts["funnel.toggled"] == found.funnel.toggled
        assert (counts["analog.wrong"], counts["analog.largest"]) == (silent.wrong, silent.largest)
        assert counts["analog.off_by_5"] == silent.off_by[5]
    assert done.column("fault")["disturbed"] > 0


def test_a_scenario_under_a_channel_adds_up_to_its_report_too():
    text = SWEEPER.split("[disturbance]")[0].replace('severities = ["typical", "fault"]', "").replace("hours = 1.0", "")
    rest = SWEEPER.split("[signal]")[1].split("[links.")[0]
    text = (
        text.split("    # an ordinary")[0]
        + '\n[disturbance]\nkind = "scatter"\nbit_error_ratio = 2e-5\n[signal]'
        + rest
    )
    scenario = dataclasses.replace(scenario_from_text(text, file="x"), frames=40_000)
    tally = measure_coverage(scenario).frames[0].tally
    done = run_campaign(ScenarioWindows(scenario=scenario), seed=scenario.seed, rules=Rules(frames=40_000)).totals
    assert done.units == 2
    assert done.column("scatter")["detected"] == tally.detected > 0
    assert done.column("scatter")["delivered"] == tally.delivered


def test_the_hash_changes_with_everything_that_changes_a_unit():
    base = JudgedFrames(subject=fs.CanFrame(identifier=1, payload=b"ab"), channel=Scatter(bit_error_ratio=0.1))
    others = [
        dataclasses.replace(base, frames_per_unit=10),
        dataclasses.replace(base, channel=Scatter(bit_error_ratio=0.2)),
        dataclasses.replace(base, channel=ExactFlips(count=1)),
        dataclasses.replace(base, subject=fs.CanFrame(identifier=2, payload=b"ab")),
        dataclasses.replace(base, subject=Payloads(frame=fs.CanFrame(identifier=1, payload=b"ab"))),
        dataclasses.replace(base, subject=Payloads(frame=fs.CanFrame(identifier=1, payload=b"ab"), low=b"\1\0")),
        CompiledFrames(subject=base.subject, channel=base.channel, frames_per_unit=base.frames_per_unit),
    ]
    assert len({work_hash(work) for work in (base, *others)}) == len(others) + 1
    assert work_hash(base) == work_hash(dataclasses.replace(base))
    assert campaign_of(base, 1).work["computed_by"].keys() == {"framesim", "numpy"}
