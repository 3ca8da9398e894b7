"""Laws of a challenge: streams repeat, shrinking never loses the failure, right answers pass whatever their form."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import framesim as fs
from framesim.challenge import Case, cases
from framesim.challenge.boundary import boundary_frames
from framesim.challenge.case import decode_case
from framesim.challenge.endpoint import CallableEndpoint, Interrupted
from framesim.challenge.expected import expected
from framesim.challenge.guess import case_strategy, find_case
from framesim.challenge.protocol import Trouble, case_line, flat_frame, read_answers
from framesim.challenge.shrink import shrink, simpler_frames
from framesim.challenge.symptom import symptom
from framesim.errors import BadArgument
from framesim.strategies import can_frames

NETWORKS = ["can", "can-fd", "can-fd-original", "can-xl", "lin", "flexray", "flexray-b", "flexray-dynamic",
            "flexray-b-dynamic", "ethernet", "sent"]  # fmt: skip


@pytest.mark.parametrize("name", NETWORKS)
def test_a_stream_repeats_for_its_seed_and_keeps_its_fixed_part_for_another(name):
    fixed = len(boundary_frames(name))
    one, two = ([case.bits for case in cases(name, seed=seed, count=40)] for seed in (1, 1))
    assert one == two
    other = [case.bits for case in cases(name, seed=2, count=min(40, fixed))]
    assert other == one[: len(other)]


def test_the_random_part_differs_between_seeds():
    one, two = ([case.bits for case in cases("can", seed=seed, count=3_000)][-500:] for seed in (1, 2))
    assert one != two


def test_a_stream_has_as_many_cases_as_asked_and_both_modes_where_asked():
    listed = list(cases("lin", mode="both", count=2_000))
    assert len(listed) == 2_000
    assert {case.mode for case in listed} == {"decode", "encode"}


@pytest.mark.parametrize(
    "arguments",
    [
        {"network": "can", "count": 0},
        {"network": "can", "seed": -1},
        {"network": "can", "mode": "x"},
        {"network": "tin"},
    ],
)
def test_a_stream_that_cannot_be_is_refused_at_once(arguments):
    with pytest.raises(BadArgument):
        cases(**arguments)


@settings(max_examples=60)
@given(can_frames())
def test_simpler_frames_are_frames_and_end(frame):
    for _ in range(400):
        simpler = next(simpler_frames(frame), None)
        if simpler is None:
            break
        assert simpler != frame
        frame = simpler
    else:
        pytest.fail("a frame can be made simpler for ever")
    assert (frame.identifier, frame.payload, frame.extended, frame.remote) == (0, b"", False, False)


@settings(max_examples=25)
@given(st.data())
def test_shrinking_keeps_the_failure_and_ends_at_a_case_that_nothing_simpler_fails_like(data):
    case = data.draw(case_strategy("can", "decode"))
    wanted = expected(case).verdict

    def fails(candidate: Case) -> bool:
        return expected(candidate).verdict == wanted

    small = shrink(case, fails, attempts=2_000)
    assert fails(small)
    assert small.recipe is not None
    assert case.recipe is not None
    assert len(small.recipe.flips) <= len(case.recipe.flips)
    assert len(small.frame.payload) <= len(case.frame.payload)
    assert decode_case("can", small.recipe).bits == small.bits


def test_hypothesis_finds_the_same_case_for_the_same_seed_and_nothing_where_nothing_is():
    def fails(case):
        return case.frame.remote

    one, two = (find_case("can", "encode", fails, seed=3, examples=200) for _ in range(2))
    assert one is not None
    assert one.frame == two.frame == fs.CanFrame(identifier=0, remote=True)
    assert find_case("can", "encode", lambda case: False, seed=3, examples=20) is None


@pytest.mark.parametrize("name", NETWORKS)
@settings(max_examples=10)
@given(data=st.data())
def test_every_form_of_a_right_answer_is_right(name, data):
    case = data.draw(case_strategy(name, "decode"))
    want = expected(case)
    forms = [fs.receive(fs.wire.parse_bits(case.bits), name), want.record()]
    forms += [want.frame] if want.verdict == "accepted" else [None, {"verdict": "refused"}]
    if want.verdict == "rejected":
        forms += [{"verdict": "rejected"}, {"verdict": "rejected", "check": want.check}]
    for form in forms:
        (reply,) = CallableEndpoint(decoder=lambda bits, form=form: form).ask([case])
        assert symptom(case, want, reply) is None
    line = json.dumps({"case": 7, **want.record()}).encode()
    (answer,) = read_answers([line], 7)
    assert symptom(case, want, answer) is None


@settings(max_examples=60)
@given(case_strategy("can", "decode"), st.data())
def test_a_wrong_answer_is_wrong(case, data):
    want = expected(case)
    record = want.record()
    wrong = data.draw(
        st.sampled_from(
            [
                {"verdict": "accepted", **flat_frame(fs.CanFrame(identifier=0x3A5, payload=b"\x77", dlc=None))},
                {**record, "verdict": "rejected" if want.verdict != "rejected" else "accepted"},
                {**record, "verdict": "perhaps"},
                {**record, "at": 10_000, "check": want.check or "crc", "verdict": "rejected"},
                {},
            ]
        )
    )
    assert symptom(case, want, wrong) is not None


@given(st.lists(st.binary(max_size=30), max_size=5))
def test_whatever_lines_come_each_gives_an_answer_or_a_trouble(lines):
    lines = [line.replace(b"\n", b"") for line in lines]
    read = read_answers(lines, 0)
    assert len(read) == len(lines)
    for number, (line, answer) in enumerate(zip(lines, read, strict=True)):
        if not isinstance(answer, Trouble):
            assert json.loads(line)["case"] == number


def test_lines_that_only_together_are_json_are_not_taken():
    together = read_answers([b'{"case":0},{"case":1}', b""], 0)
    assert all(isinstance(answer, Trouble) for answer in together)
    split = read_answers([b'{"case":0,"verdict":"', b'"}'], 0)
    assert all(isinstance(answer, Trouble) for answer in split)


@pytest.mark.parametrize("name", NETWORKS)
def test_a_line_is_flat_json_that_a_simple_reader_can_take(name):
    for mode in ("decode", "encode"):
        case = next(cases(name, mode=mode, count=1))
        line = case_line(3, case)
        record = json.loads(line)
        assert line.endswith(b"\n")
        assert b" " not in line
        assert list(record)[:3] == ["case", "mode", "network"]
        assert all(value is None or isinstance(value, str | int | bool) for value in record.values())


def test_lines_that_complete_each_other_are_not_two_answers():
    one, other = read_answers([b'{"case":0,"x":[1', b'2]},{"case":1}'], 0)
    assert isinstance(one, Trouble)
    assert isinstance(other, Trouble)
    assert read_answers([b'{"case":0}', b'{"case":1} \r'], 0) == [{"case": 0}, {"case": 1}]


def leave(_):
    raise SystemExit(3)


@pytest.mark.parametrize(
    ("decoder", "words"),
    [(leave, "raises SystemExit"), (lambda _: "accepted", "returns str, which is no answer")],
)
def test_whatever_a_function_does_is_a_finding(decoder, words):
    (reply,) = CallableEndpoint(decoder=decoder).ask([next(cases("can"))])
    assert reply.words == words


def test_answers_before_an_interruption_are_kept():
    def decoder(bits):
        if next(count) == 3:
            raise KeyboardInterrupt

    count = iter(range(10))
    with pytest.raises(Interrupted) as stop:
        CallableEndpoint(decoder=decoder).ask(list(cases("can", count=6)))
    assert stop.value.replies == [{"verdict": "refused"}] * 3
