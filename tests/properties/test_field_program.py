"""Laws of the program of fields: what it takes from a layout, and what it refuses to take for granted."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from toy_network import ToyFrame, make_toy

from framesim.codes import crc
from framesim.coverage.fast.scalar import engine
from framesim.coverage.fast.wires import on_the_wire
from framesim.errors import NotFeasible
from framesim.judging import run_receiver
from framesim.kernels.field_receiver import UNDECIDED, VALID
from framesim.networks import program_columns as column
from framesim.networks.automaton import CHECKS
from framesim.networks.can_fd import CAN_FD, CAN_FD_ORIGINAL
from framesim.networks.encoder import encode_with
from framesim.networks.field_program import field_program
from framesim.networks.guard_feeds import codes_of
from framesim.networks.layout import Condition, Guard, Rule
from framesim.networks.registry import network
from framesim.words import Check

TOY = make_toy(run=3, number_bits=2, data_bits=2, at_end=True)


def changed(found, name, **changes):
    """A network with one field changed."""
    rows = tuple(replace(row, **changes) if row.name == name else row for row in found.layout.fields)
    return replace(found, layout=replace(found.layout, fields=rows))


@pytest.mark.parametrize(("run", "at_end", "long", "most"), [
    (3, True, True, 3), (2, False, False, 3), (4, True, False, 4),
])  # fmt: skip
def test_every_pattern_of_a_few_flips_gets_the_verdict_of_the_reference_receiver(run, at_end, long, most):
    found = make_toy(run=run, number_bits=2, data_bits=2, at_end=at_end)
    seen = set()
    for number in (0, 3):
        sent = encode_with(found, ToyFrame(number=number, payload=2 if long else 0, long=long))
        patterns = [row for flips in range(1, most + 1) for row in combinations(range(len(sent)), flips)]
        pattern = np.repeat(np.arange(len(patterns)), [len(row) for row in patterns]).astype(np.int64)
        place = np.array([bit for row in patterns for bit in row], np.int32)
        wires, lengths = on_the_wire([sent])
        _, verdicts, _ = engine(found).verdicts(wires, lengths, len(patterns), pattern, place)
        for row, verdict in zip(patterns, verdicts.tolist(), strict=True):
            heard = run_receiver(found, sent.flipped(row), strict=True).finish()
            right = VALID if heard.accepted else UNDECIDED if heard.check is None else CHECKS.index(heard.check)
            assert verdict == right, row
            seen.add(verdict)
    assert seen >= {VALID, *(CHECKS.index(check) for check in (Check.STUFFING, Check.FORM, Check.CRC))}


def test_what_enters_a_code_is_found_by_asking_it():
    codes = {CAN_FD.layout.fields[row].name: code for row, code in codes_of(CAN_FD.layout).items()}
    assert set(codes) == {"stuff count", "CRC-15", "CRC-17", "CRC-21"}
    # Stuff bits enter the CRCs of FD frames, not that of classic ones; the stuff count enters without its fixed ones
    # (docs/networks/can-fd.md).
    assert codes["CRC-15"].feeds["data"] == column.OWN_BITS
    assert codes["CRC-17"].feeds["data"] == codes["CRC-21"].feeds["SOF"] == column.WIRE_BITS
    assert codes["CRC-17"].feeds["stuff count"] == column.OWN_BITS
    assert "stuff count" not in {
        name for code in codes_of(CAN_FD_ORIGINAL.layout).values() for name in (*code.feeds, *code.counts)
    }
    assert codes["stuff count"].counts >= {"SOF", "data"}
    assert codes["stuff count"].count_values[:10] == (0, 3, 6, 5, 12, 15, 10, 9, 0, 3)  # Gray code, then even parity


@pytest.mark.parametrize("found", [CAN_FD, CAN_FD_ORIGINAL], ids=lambda found: found.name)
def test_places_that_behave_alike_are_one_node(found):
    program = field_program(found)
    rows = {
        (*row[: column.FIRST], tuple(program.goals[row[column.FIRST] : after[column.FIRST]].tolist()), *feeds, *spoken)
        for row, after, feeds, spoken in (
            (
                program.nodes[node].tolist(),
                program.nodes[node + 1].tolist(),
                program.feeds[node].tolist(),
                program.spoken[
                    program.nodes[node, column.VERDICTS] : program.nodes[node + 1, column.VERDICTS]
                ].tolist(),
            )
            for node in range(2, len(program.nodes) - 1)
        )
    }
    assert len(rows) == len(program.nodes) - 3 < 100


@pytest.mark.parametrize(("name", "reason"), [
    ("lin", "rules or time limits"), ("flexray", "rules or time limits"), ("ethernet", "ends when the wire does"),
    ("sent", "rules or time limits"),
])  # fmt: skip
def test_networks_of_other_kinds_are_refused(name, reason):
    with pytest.raises(NotFeasible, match=reason):
        engine(network(name))


def turned_crc(view):
    return crc("CRC-4/SENT").of(view.bits("number", "start", "spare", "length", "data"))


def reading_values(view):
    return view.values["number"]


def counting_and_reading(view):
    return view.inserted("number") ^ crc("CRC-4/SENT").of(view.bits("number"))


def half_a_crc(view):
    return crc("CRC-4/SENT").of(view.bits("number")) ^ 1


@pytest.mark.parametrize(("expected", "reason"), [
    (turned_crc, "'sum' covers fields out of their order"),
    (reading_values, "'sum' looks at more than bits"),
    (counting_and_reading, "'sum' is neither a CRC nor a number of stuff bits"),
    (half_a_crc, "'sum' is not the CRC of the fields before it"),
])  # fmt: skip
def test_a_code_that_is_not_what_it_seems_is_refused(expected, reason):
    guard = Guard(check=Check.CRC, expected=expected, covers=("number",), code="CRC-4/SENT", spoken_after="answer end")
    with pytest.raises(NotFeasible, match=reason):
        field_program(changed(TOY, "sum", guard=guard))


def test_what_depends_on_a_value_that_is_not_kept_is_refused():
    when = Condition("odd number", lambda values: values["number"] & 1 == 1)
    with pytest.raises(NotFeasible, match="depends on 'number', which is not said to steer"):
        field_program(changed(TOY, "data", when=when))
    told = Condition("odd number", lambda values: values.get("number", 0) & 1 == 1)
    with pytest.raises(NotFeasible, match="depends on 'number', which is not said to steer"):
        field_program(changed(TOY, "data", when=told))


def test_rules_and_fields_without_an_end_are_refused():
    rule = Rule(check=Check.FORM, at_end_of="number", holds=lambda view: True, clause="toy")
    with pytest.raises(NotFeasible, match="rules or time limits"):
        field_program(replace(TOY, layout=replace(TOY.layout, rules=(rule,))))
    with pytest.raises(NotFeasible, match="'number' has no fixed width"):
        field_program(changed(TOY, "number", elastic=True))
    with pytest.raises(NotFeasible, match="'number' has no fixed width"):
        field_program(changed(TOY, "number", width=0))
    with pytest.raises(NotFeasible, match="the value of field 'number' cannot be tried"):
        field_program(changed(TOY, "number", steers=True, width=13))
    with pytest.raises(NotFeasible, match="a frame must end plain"):
        field_program(replace(TOY, layout=replace(TOY.layout, accept_after="answer")))
