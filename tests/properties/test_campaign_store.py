"""A campaign's file: whatever happens to it, every whole unit is there and nothing else is taken for one."""

import errno
import os
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, invariant, rule
from toy_work import ToyWork

import framesim as fs
from framesim.coverage.campaign.contents import scan
from framesim.coverage.campaign.identity import campaign_of
from framesim.coverage.campaign.lines import opened, sealed
from framesim.coverage.campaign.merging import merge_files, result_of_file
from framesim.coverage.campaign.rules import Rules
from framesim.coverage.campaign.running import run_campaign
from framesim.coverage.campaign.store import Store, header_line, unit_line
from framesim.coverage.campaign.work import UnitResult, added

WORK = ToyWork()
CAMPAIGN = campaign_of(WORK, 1)
SIX = Rules(frames=6000)


def run(path, rules=SIX, work=WORK, seed=1, **options):
    return run_campaign(work, seed=seed, rules=rules, into=None if path is None else str(path), **options)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Return the bytes of a finished campaign's file, and its result."""
    path = tmp_path_factory.mktemp("whole") / "c.jsonl"
    return run(path).to_json(), path.read_bytes()


def test_a_file_cut_at_any_length_goes_on_to_the_same_result_and_the_same_bytes(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "fsync", lambda descriptor: None)  # thousands of them; another test looks at these
    path = tmp_path / "cut.jsonl"
    three = Rules(frames=3000)
    result, content = run(path, three).to_json(), path.read_bytes()
    ends = [place + 1 for place, byte in enumerate(content) if byte == ord("\n")]
    for length in range(len(content)):
        path.write_bytes(content[:length])
        units_whole = max(0, sum(end <= length for end in ends) - 1)
        if length >= ends[0]:
            assert len(scan(str(path)).units) == min(units_whole, 3)
        else:
            with pytest.raises(fs.BadInput, match="no whole line in it"):
                scan(str(path))
        assert run(path, three).to_json() == result
        assert path.read_bytes() == content, length


def test_a_run_that_ends_as_the_one_before_but_with_a_unit_more_says_so_again(tmp_path):
    path = str(tmp_path / "c.jsonl")
    stop = {"by": "budget", "confidence": 0.95, "count": 1, "first": 0}
    with Store.open(path, CAMPAIGN) as store:
        store.append(0, WORK.unit(1, 0))
        store.stop(stop)
        store.append(2, WORK.unit(1, 2))  # another worker's; unit 1 is not there yet
        store.stop(stop)
    assert scan(path).stop == stop
    shown = result_of_file(path)
    assert (shown.stopped_by, shown.aside) == ("budget", 1)


def test_a_torn_line_longer_than_what_follows_leaves_nothing_behind(whole, tmp_path):
    path = tmp_path / "torn.jsonl"
    path.write_bytes(whole[1][: whole[1].index(b"\n") + 1] + b'{"cases":[' + b"1," * 5000)
    assert run(path).to_json() == whole[0]
    assert path.read_bytes() == whole[1]


def test_after_a_cut_only_the_units_that_are_gone_are_computed_again(whole, tmp_path):
    _, content = whole
    path = tmp_path / "cut.jsonl"
    path.write_bytes(content[: content.index(b'"unit":4') + 3])
    computed = []

    class Counting:
        def results(self, task, numbers):
            for number in numbers:
                computed.append(number)
                yield number, task.work.unit(task.seed, number)

    run(path, scheduler=Counting())
    assert computed == [4, 5]


@settings(max_examples=60)
@given(data=st.data())
def test_a_changed_byte_is_never_taken_for_a_result(whole, data):
    result, content = whole
    place = data.draw(st.integers(0, len(content) - 1))
    flip = data.draw(st.integers(1, 255))
    broken = bytearray(content)
    broken[place] ^= flip
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "c.jsonl"
        path.write_bytes(broken)
        before = path.read_bytes()
        if place == len(content) - 1:  # the last line, torn: noted again
            assert run(path).to_json() == result
            return
        with pytest.raises(fs.BadInput, match=r"line \d") as caught:
            run(path)
        assert "\n" not in str(caught.value)
        assert str(path) in str(caught.value)
        assert path.read_bytes() == before  # nothing was touched
        if "line 1:" not in str(caught.value):
            saved = merge_files([str(path)], f"{path}.saved", salvage=True)
            assert saved.units >= 4  # a lost line end takes two lines with it
            assert run(f"{path}.saved").to_json() == result


def test_a_damaged_line_is_named_and_salvage_keeps_all_others(whole, tmp_path):
    result, content = whole
    path, saved = tmp_path / "c.jsonl", tmp_path / "saved.jsonl"
    path.write_bytes(content.replace(b'"unit":2', b'"unit":7'))
    with pytest.raises(fs.BadInput, match=r"c\.jsonl: line 4 \(byte \d+\): damaged, its check does not match; 2 units"):
        run(path)
    with pytest.raises(fs.BadInput, match="damaged"):
        merge_files([str(path)], str(saved))
    assert not saved.exists()
    done = merge_files([str(path)], str(saved), salvage=True)
    assert (done.units, done.damaged) == (5, 1)
    assert run(saved).to_json() == result


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", "no whole line"),
        (b"title = 1\n", "line 1: no header"),
        (b"\x00\xff" * 300 + b"\n", "line 1: no header"),
        (sealed({"framesim_campaign": 99}), "line 1: format 99; expected one of 1"),
        (sealed({"framesim_campaign": 1, "hash": "00"}), "line 1: no header"),
        (header_line(CAMPAIGN) + sealed({"unit": -1, "counts": {}, "cases": []}), "line 2"),
        (header_line(CAMPAIGN) + sealed({"unit": 1, "counts": {"frames": 1.5}, "cases": []}), "line 2"),
        (header_line(CAMPAIGN) + sealed({"unit": 1, "counts": [], "cases": []}), "line 2"),
        (header_line(CAMPAIGN) * 2, "line 2"),
        (header_line(CAMPAIGN) + sealed({"stop": {"by": "target"}}), "line 2"),
        (
            header_line(CAMPAIGN)
            + sealed({"unit": 1, "counts": {"frames": 1}, "cases": []})
            + sealed({"unit": 1, "counts": {"frames": 2}, "cases": []}),
            "line 3: another result of unit 1",
        ),
    ],
)
def test_what_is_no_campaign_file_is_told_in_one_line(tmp_path, content, expected):
    path = tmp_path / "c.jsonl"
    path.write_bytes(content)
    with pytest.raises(fs.BadInput, match=expected) as caught:
        result_of_file(str(path))
    assert "\n" not in str(caught.value)


def test_a_folder_and_a_missing_file_are_told_in_one_line(tmp_path):
    for path in (tmp_path, tmp_path / "none", tmp_path / "none" / "c"):
        with pytest.raises(fs.BadInput, match="cannot be read"):
            result_of_file(str(path))
    for path in (tmp_path, tmp_path / "none" / "c"):
        with pytest.raises(fs.BadInput, match="cannot be opened"):
            run(path)


def test_another_campaign_is_refused_and_the_file_left_alone(whole, tmp_path):
    path = tmp_path / "c.jsonl"
    path.write_bytes(whole[1])
    for other, where in (({"seed": 2}, ": use"), ({"work": ToyWork(per_thousand=3)}, "differ in per thousand")):
        with pytest.raises(fs.BadInput, match="holds another campaign: 'toy', seed 1") as caught:
            run(path, **other)
        assert where in str(caught.value)
    assert path.read_bytes() == whole[1]


def test_two_runs_cannot_write_one_file(tmp_path):
    path = str(tmp_path / "c.jsonl")
    with Store.open(path, CAMPAIGN), pytest.raises(fs.BadInput, match="another process is running"):
        run(path)
    run(path)  # and the lock is gone with its owner


class FullDisk:
    """Stands in for ``os.pwrite`` on a disk with so much room."""

    def __init__(self, room):
        self.room = room

    def __call__(self, descriptor, content, place):
        fits = bytes(content)[: max(0, self.room - place)]
        if not fits:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return PWRITE(descriptor, fits, place)


PWRITE = os.pwrite


def test_a_full_disk_at_any_byte_loses_no_finished_unit(whole, tmp_path, monkeypatch):
    result, content = whole
    ends = [place + 1 for place, byte in enumerate(content) if byte == ord("\n")]
    for room in range(0, len(content), 29):
        path = tmp_path / "c.jsonl"
        path.unlink(missing_ok=True)
        with monkeypatch.context() as patch:
            patch.setattr(os, "pwrite", FullDisk(room))
            with pytest.raises(fs.BadInput, match=r"cannot be written \(No space left on device\); \d finished unit"):
                run(path)
        fitted = max([0, *(end for end in ends if end <= room)])
        assert path.read_bytes() == content[:fitted]
        assert run(path).to_json() == result


def test_a_disk_that_fails_to_sync_does_not_count_the_unit(tmp_path, monkeypatch):
    path = tmp_path / "c.jsonl"
    calls = []

    def failing(descriptor):
        calls.append(descriptor)
        if len(calls) == 5:  # header, its folder, units 0 and 1, then this
            raise OSError(errno.EIO, os.strerror(errno.EIO))

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", failing)
        with pytest.raises(fs.BadInput, match=r"unit 2 cannot be written \(Input/output error\); 2 finished units"):
            run(path)
    assert sorted(scan(str(path)).units) == [0, 1]


def test_units_of_other_machines_join_in_any_order_to_the_same_bytes(whole, tmp_path):
    one, two, three = (str(tmp_path / name) for name in ("one", "two", "three"))
    run(one, Rules(frames=3000))
    run(two, Rules(frames=2000), first_unit=2)
    run(three, Rules(frames=2000), first_unit=4)
    assert result_of_file(two).totals.first == 2
    outputs = []
    for place, order in enumerate([(one, two, three), (three, one, two), (two, three, one, one)]):
        into = tmp_path / f"merged{place}"
        done = merge_files(order, str(into))
        assert (done.units, done.damaged) == (6, 0)
        outputs.append(into.read_bytes())
    assert len(set(outputs)) == 1
    assert done.repeated == 4
    assert run(into).to_json() == whole[0]


def test_machines_that_disagree_are_found_out(tmp_path):
    one, two = str(tmp_path / "one"), str(tmp_path / "two")
    run(one, Rules(frames=2000))
    with Store.open(two, CAMPAIGN) as store:
        store.append(1, UnitResult(counts={"frames": 1000, "undetected": 999}))
    with pytest.raises(fs.BadInput, match="two: its result of unit 1 differs from that in"):
        merge_files([one, two], str(tmp_path / "new"))
    run(str(tmp_path / "other"), seed=2)
    with pytest.raises(fs.BadInput, match="other: holds 'toy', seed 2"):
        merge_files([one, str(tmp_path / "other")], str(tmp_path / "new"))
    with pytest.raises(fs.BadArgument, match="exists already"):
        merge_files([one], two)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one", "other", "two"]


def test_a_run_that_lost_its_first_unit_computes_it_again(whole, tmp_path):
    path = tmp_path / "c"
    with Store.open(str(path), CAMPAIGN) as store:  # killed while one worker was still at unit 0
        for number in (2, 1):
            store.append(number, WORK.unit(1, number))
    assert run(path).to_json() == whole[0]


def test_a_unit_missing_in_the_middle_sets_the_later_ones_aside(tmp_path):
    path = str(tmp_path / "c")
    run(path, Rules(frames=2000))
    with Store.open(path, CAMPAIGN) as store:
        store.append(3, WORK.unit(1, 3))
    found = result_of_file(path)
    assert (found.totals.units, found.aside, found.stopped_by) == (2, 1, None)


@given(
    st.dictionaries(
        st.text(max_size=5),
        st.recursive(st.integers() | st.text(max_size=5), st.lists, max_leaves=4),
    )
)
def test_a_line_opens_to_what_was_sealed_and_holds_one_line_end(record):
    record.pop("check", None)
    line = sealed(record)
    if record:
        assert opened(line) == record
    assert line.count(b"\n") == 1
    assert line.endswith(b"\n")


@given(
    st.lists(st.dictionaries(st.sampled_from(["frames", "fault.largest", "largest"]), st.integers(0, 99)), min_size=1)
)
def test_counts_add_up_in_any_order_and_largest_is_the_greatest(parts):
    forward, backward = {}, {}
    for one, other in zip(parts, reversed(parts), strict=True):
        forward, backward = added(forward, one), added(backward, other)
    assert forward == backward
    for name in forward:
        total = sum if name == "frames" else max
        assert forward[name] == total(part.get(name, 0) for part in parts)


class Machines(RuleBasedStateMachine):
    """Several machines run one campaign: they are killed, resumed, cut short, merged. The model is a set of units."""

    files = Bundle("files")

    def __init__(self):
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.kept: dict[str, set[int]] = {}

    def teardown(self):
        self.folder.cleanup()

    def new_name(self):
        return str(Path(self.folder.name) / f"f{len(self.kept)}")

    @rule(target=files)
    def begin(self):
        path = self.new_name()
        Store.open(path, CAMPAIGN).close()
        self.kept[path] = set()
        return path

    @rule(path=files, first=st.integers(0, 8), units=st.integers(1, 4))
    def run_some(self, path, first, units):
        result = run(path, Rules(frames=1000 * units), first_unit=first)
        self.kept[path] |= set(range(first, first + units))
        assert (result.totals.first, result.totals.units) == (first, units)
        assert result.to_json() == run(None, Rules(frames=1000 * units), first_unit=first).to_json()

    @rule(path=files, number=st.integers(0, 12), torn=st.floats(0, 0.999))
    def killed_while_writing(self, path, number, torn):
        if number not in self.kept[path]:
            line = unit_line(number, WORK.unit(1, number))
            with Path(path).open("ab") as file:
                file.write(line[: int(len(line) * torn)])

    @rule(path=files, number=st.integers(0, 12))
    def killed_after_writing(self, path, number):
        with Store.open(path, CAMPAIGN) as store:
            assert (number in store) == (number in self.kept[path])
            if number not in store:
                store.append(number, WORK.unit(1, number))
        self.kept[path].add(number)

    @rule(target=files, paths=st.lists(files, min_size=1, max_size=3, unique=True))
    def merge(self, paths):
        into = self.new_name()
        merge_files(paths, into)
        self.kept[into] = set().union(*(self.kept[path] for path in paths))
        return into

    @invariant()
    def every_file_holds_what_it_should(self):
        for path, units in self.kept.items():
            assert set(scan(path).units) == units
            with Store.open(path, CAMPAIGN) as store:
                assert list(store) == sorted(units)
                for number in units:
                    assert unit_line(number, store.unit(number)) == unit_line(number, WORK.unit(1, number))


TestMachines = Machines.TestCase
TestMachines.settings = settings(max_examples=25, stateful_step_count=15, deadline=None)
