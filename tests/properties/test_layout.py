"""Layouts and what is derived from them: transition tables for every network, and a network made up on the spot."""

import json
import random
import timeit
from itertools import pairwise
from pathlib import Path

import pytest
from bitarray import bitarray
from feeding import receive_every_way
from hypothesis import given
from hypothesis import strategies as st
from random_frames import BUILDERS, random_frame
from toy_link import TOY, ToyFrame

import framesim as fs
from framesim.cli.main import main
from framesim.networks import layout, network, register, registry
from framesim.networks.layout import Condition, Field, Guard, Layout, Rule
from framesim.networks.reachable import reachable
from framesim.networks.receiver import Receiver
from framesim.networks.transitions import ACCEPTED, HUNTING, REJECTED, START, mermaid, transitions
from framesim.words import Check, Outcome

ROOT = Path(__file__).resolve().parents[2]
EVERY = pytest.mark.parametrize("name", fs.networks())


@pytest.fixture
def toy():
    """The toy link, known for the length of one test."""
    register(TOY)
    yield TOY
    registry._EXTRA.pop("toy")


@EVERY
def test_every_state_has_a_row_and_can_be_reached(name):
    table = network(name).transitions
    targets = {target for row in table.values() for target in row.values()}
    assert targets <= set(table)
    seen, todo = set(), [HUNTING]
    while todo:
        state = todo.pop()
        if state not in seen:
            seen.add(state)
            todo += table[state].values()
    assert seen == set(table)


@EVERY
def test_every_state_leads_to_a_verdict_and_a_verdict_leads_nowhere(name):
    table = network(name).transitions
    final = {state for state, row in table.items() if not row}
    assert {ACCEPTED, REJECTED} <= final
    assert not final & {field.name for field in network(name).layout.fields}
    ending = set(final)
    for _ in table:
        ending |= {state for state, row in table.items() if ending & set(row.values())}
    assert ending == set(table)


@EVERY
def test_every_field_up_to_the_accepting_one_is_a_state(name):
    wanted = network(name)
    rows = wanted.layout.fields[: wanted.layout.accept_index + 1]
    assert {field.name for field in rows} <= set(wanted.transitions)
    assert wanted.transitions[HUNTING][START] == rows[0].name
    assert wanted.transitions[rows[-1].name]["end"] == ACCEPTED


@EVERY
def test_every_row_says_where_it_stands_and_what_it_is_for(name):
    for field in network(name).layout.fields:
        assert field.clause, field.name
        assert field.about, field.name
        for covered in field.guard.covers if field.guard else ():
            assert network(name).layout.place[covered] < network(name).layout.place[field.name]


@EVERY
def test_the_diagram_draws_every_move_once(name):
    wanted = network(name)
    lines = mermaid(wanted.transitions).splitlines()
    moves = [line for line in lines if "-->" in line and "[*]" not in line]
    assert len(moves) == len(wanted.rows) == len(set(moves))
    for state in wanted.transitions:
        assert any(f'"{state}"' in line for line in lines)


# --- moves that no frame makes --------------------------------------------------------------------------------------


def arrows(table):
    """Return the moves of a table from field to field, as in its diagram."""
    return {(state, target) for state, row in table.items() for target in row.values()}


@pytest.mark.parametrize("name", ["can", "can-fd", "can-fd-original", "can-xl"])
def test_every_way_from_the_start_to_the_ack_slot_passes_the_crc(name):
    table = network(name).transitions
    seen, todo = set(), ["SOF"]
    while todo:
        state = todo.pop()
        if state not in seen and not state.startswith(("CRC-", "FCRC")) and state != "CRC":
            seen.add(state)
            todo += table[state].values()
    assert "DLC" in seen  # the walk went as far as the fields before the CRC
    assert "ACK slot" not in seen


def test_the_can_xl_diagram_holds_only_pairs_of_fields_that_some_format_has():
    follows = arrows(network("can-xl").transitions)
    assert {target for state, target in follows if state == "FDF"} == {"r0", "res", "XLF", "DLC", REJECTED}
    assert {target for state, target in follows if state == "XLF"} == {"resXL", "BRS", REJECTED}
    assert {target for state, target in follows if state == "DAS"} == {"ACK slot", REJECTED}
    assert ("XL data", "FCRC") in follows
    assert ("DLC", "CRC-17") not in follows


@pytest.mark.parametrize("name", BUILDERS)
def test_every_pair_of_fields_in_random_frames_is_in_the_table_and_the_receiver_makes_its_moves(name):
    rng = random.Random(f"moves {name}")
    for _ in range(200):
        frame = random_frame(name, rng)
        sent, known = fs.encode(frame), registry.network_of(frame)
        follows, place = arrows(known.transitions), known.layout.place
        on_the_way = [field for field in sent.fields if place[field] <= known.layout.accept_index]
        assert set(pairwise(on_the_way)) <= follows
        flips = [at for at in range(len(sent)) if rng.random() < 0.02]
        fs.judge(sent, sent.flipped(flips))  # a move that the table lacks would raise


@pytest.mark.parametrize("name", ["can", "can-fd", "can-xl"])
def test_every_pair_of_fields_in_the_table_is_in_some_random_frame(name):
    # Frames of every format that the receiver knows, and those with a late ACK delimiter, which no sender sends.
    rng, known, met = random.Random(f"pairs {name}"), network(name), set()
    plain = Receiver._move

    class Noting(Receiver):
        def _move(self, event):
            state = self.state
            plain(self, event)
            met.add((state, self.state))

    formats = {"can": ["can"], "can-fd": ["can", "can-fd"], "can-xl": ["can", "can-fd", "can-xl"]}[name]
    for kind in formats:
        for _ in range(150):
            sent = fs.encode(random_frame(kind, rng))
            seen = bitarray(sent.bits)
            slot = sent.spans[sent.fields.index("ACK slot")].stop
            if rng.random() < 0.3:
                seen.insert(slot, 0)
            receiver = Noting(known)
            receiver.feed(seen)
    fields = {field.name for field in known.layout.fields}
    wanted = {pair for pair in arrows(known.transitions) if set(pair) <= fields}
    assert wanted - met == set()


def test_the_tables_are_made_quickly_enough_for_the_command_line():
    # Common practice, no source: what takes less than a twentieth of a second is not felt. Measured: 7 ms.
    layout_of_xl = network("can-xl").layout
    assert min(timeit.repeat(lambda: transitions(layout_of_xl), number=1, repeat=5)) < 0.05


def test_every_move_of_the_can_table_is_made_by_some_vector(monkeypatch):
    made = set()
    plain = Receiver._move

    def noted(receiver, event):
        made.add((receiver.state, event))
        plain(receiver, event)

    monkeypatch.setattr(Receiver, "_move", noted)
    document = json.loads((ROOT / "vectors" / "can.json").read_text(encoding="utf-8"))
    for group in document["groups"]:
        for case in group["cases"]:
            fs.receive(bitarray(case["wire"]), "can")
    # SOF is over at its first bit, so six equal bits cannot end there.
    assert {(row.state, row.event) for row in network("can").rows} - made == {("SOF", "stuffing")}


# --- a network of one's own ----------------------------------------------------------------------------------------


def test_a_network_of_ones_own_takes_less_than_sixty_lines():
    assert len((ROOT / "tests" / "toy_link.py").read_text(encoding="utf-8").splitlines()) < 60


def test_a_network_of_ones_own_is_encoded_received_and_judged(toy):
    assert "toy" in fs.networks()
    sent = fs.encode(ToyFrame(address=5, payload=b"\x81"))
    assert sent.bits.to01() == "0" + "0101" + "01" + "10000001" + "1" + "1"
    assert [span.name for span in sent.spans] == ["start", "address", "length", "data", "parity", "stop"]
    assert (sent.network, sent.inserted) == ("toy", ())
    got = receive_every_way(sent.bits, "toy")
    assert (got.frame, got.valid_at) == (sent.frame, 16)
    judgement = fs.judge(sent, sent.flipped([9]))
    assert (judgement.outcome, judgement.check, judgement.at) == (Outcome.DETECTED, Check.PARITY, 15)
    assert fs.judge(sent, sent.flipped([9, 10])).outcome is Outcome.UNDETECTED
    assert fs.judge(sent, sent.flipped([9, 16])).alone == {Check.PARITY, Check.FORM}
    with pytest.raises(fs.BadArgument, match="does not read back"):
        fs.judge(sent, sent.bits, common=True)


def test_a_network_of_ones_own_has_its_commands(toy, capsys):
    assert main(["encode", "toy", "--address", "5", "--payload", "81", "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert record["bits"] == fs.encode(ToyFrame(address=5, payload=b"\x81")).bits.to01()
    assert record["frame"] == {"address": 5, "payload": "81"}
    assert main(["decode", "toy", record["bits"], "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["accepted"] is True
    assert main(["encode", "toy", "--address", "16"]) == 2
    assert capsys.readouterr().err.strip().endswith("address=0x10: must lie in 0x0..0xf")


@given(st.integers(0, 15), st.binary(max_size=3), st.data())
def test_frames_of_a_network_of_ones_own_come_back_and_single_flips_are_caught(address, payload, data):
    registry._EXTRA["toy"] = TOY
    try:
        sent = fs.encode(ToyFrame(address=address, payload=payload))
        assert receive_every_way(sent.bits, "toy").frame == sent.frame
        # not in start and length: a frame lost or of another length can pass one parity bit
        flip = data.draw(st.sampled_from([1, 2, 3, 4, *range(7, len(sent))]))
        assert fs.judge(sent, sent.flipped([flip])).outcome is Outcome.DETECTED
    finally:
        registry._EXTRA.pop("toy")


def test_a_name_or_a_frame_type_is_given_once(toy):
    from dataclasses import replace

    register(TOY)  # the same network again is no conflict
    for other, words in (
        (replace(TOY, title="another"), "network='toy': the name is taken"),
        (replace(TOY, name="can"), "network='can': the name is taken"),
        (replace(TOY, name="toy-2"), "frame_type=ToyFrame: belongs to network 'toy'"),
        (replace(TOY, name="toy-3", frame_type=fs.CanFrame), "frame_type=CanFrame: belongs to network 'can'"),
    ):
        with pytest.raises(fs.BadArgument) as caught:
            register(other)
        assert str(caught.value) == words
    with pytest.raises(fs.BadArgument, match="did you mean 'toy'"):
        fs.receive([0], "toi")


# --- what a layout may not say -------------------------------------------------------------------------------------


def field(name, **values):
    return Field(name=name, **{"width": 1, "clause": "none", "level": 0, **values})


GUARD = Guard(check=Check.CRC, expected=lambda view: 0, covers=("absent",))


@pytest.mark.parametrize(
    ("build", "words"),
    [
        (lambda: Layout(fields=(field("a"), field("a"))), "layout: field names repeat"),
        (lambda: Layout(fields=(field("a"),), accept_after="b"), "layout: 'b' names no field"),
        (lambda: Layout(fields=(field("a", level=None, guard=GUARD),)), "layout: 'absent' names no field"),
        (
            lambda: Layout(
                fields=(field("a"),),
                rules=(Rule(check=Check.LENGTH, at_end_of="z", holds=lambda view: True, clause="none"),),
            ),
            "layout: 'z' names no field",
        ),
        (lambda: field("a", level=None), "field='a': exactly one of level, source and guard says its value"),
        (lambda: field("a", source=lambda frame: 0), "field='a': exactly one of level, source and guard says"),
    ],
)
def test_a_layout_that_makes_no_sense_is_refused(build, words):
    with pytest.raises(fs.BadArgument) as caught:
        build()
    assert str(caught.value).startswith(words)


def test_of_several_rows_on_conditions_the_first_that_holds_comes_next():
    one = Condition("one", lambda values: values["kind"] == 1)
    two = Condition("two", lambda values: values["kind"] == 2)
    table = Layout(
        fields=(
            field("kind", width=2, steers=True),
            field("first of one", when=one),
            field("of two", when=two),
            field("second of one", when=one),
            field("end"),
        )
    )
    assert [table.following(0, {"kind": kind}) for kind in range(4)] == [4, 1, 2, 4]
    assert table.following(1, {"kind": 1}) == 3
    assert table.following(3, {"kind": 1}) == 4
    assert table.following(4, {"kind": 1}) is None
    assert layout.OPEN < 0
    assert reachable(table) == ({4, 1, 2}, {3}, {4}, {4}, set())


def test_conditions_are_asked_together_and_a_value_too_wide_to_try_leaves_both_answers_open():
    absent = Condition("absent", lambda values: values.get("never there", 0) == 1)
    odd = Condition("odd", lambda values: values["kind"] % 2 == 1)
    even = Condition("even", lambda values: values["kind"] % 2 == 0)

    def rows(**width):
        fields = (field("kind", steers=True, **width), field("odd", when=odd), field("even", when=even), field("end"))
        return reachable(Layout(fields=(*fields[:1], field("never there", when=absent), *fields[1:])))

    assert rows(width=2)[0] == {2, 3}
    assert rows(width=2)[2] == {4}
    assert rows(width=40)[0] == {2, 3, 4}
    assert rows(width=lambda values: 2)[0] == {2, 3, 4}
