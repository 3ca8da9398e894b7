"""What a challenge found, as people read it: on a terminal, and as commands that show the right answer."""

import io
import json
import shlex

import pytest
from rich.console import Console

import framesim as fs
from framesim.challenge import challenge_encoder
from framesim.challenge.case import Recipe, decode_case, encode_case
from framesim.challenge.expected import Expected, expected
from framesim.challenge.explain import said_by
from framesim.challenge.report import Finding, Report
from framesim.cli.main import main
from framesim.report.challenge_text import draw_challenge

CAN = fs.CanFrame(identifier=0x3FFFF, payload=b"\xa5", extended=True)


def drawn(*findings, width=80):
    report = Report(network="can", mode="encode", seed=1, asked=10, findings=findings)
    console = Console(file=io.StringIO(), width=width, color_system=None)
    draw_challenge(console, report, file="f.json")
    return console.file.getvalue().splitlines()


def test_bits_stand_below_each_other_unbroken_and_the_first_difference_is_told():
    case = encode_case("can", CAN)
    right = expected(case).bits
    for yours, place in (
        (right[:70] + right[71:], 70),
        (right[:9] + str(1 - int(right[9])) + right[10:], 9),
        (right[:30], 30),
        (right + "1", len(right)),
    ):
        lines = drawn(Finding(rule="sends a wrong bit", case=case, want=Expected(bits=right), got={"bits": yours}))
        assert f"   right: bits {right}" in lines
        assert f"   yours: bits {yours}" in lines
        told = next(line for line in lines if "differ first" in line)
        assert told == f"   they differ first at bit {place}, counted from 0"


@pytest.mark.parametrize(
    "got", ["crashes: signal 6", {"bits": None}, {"verdict": "accepted"}, {"bits": "0", "x": 1}, None]
)
def test_no_difference_is_told_where_there_are_no_bits_to_compare(got):
    case = encode_case("can", CAN)
    lines = drawn(Finding(rule="x", case=case, want=expected(case), got=got))
    assert not any("differ" in line for line in lines)


@pytest.mark.parametrize("width", [80, 120])
def test_long_answers_are_wrapped_under_their_own_head(width):
    frame = fs.CanFrame(identifier=0x3FFFF, payload=b"\xa5" * 8, extended=True)
    case = decode_case("can", Recipe(frame=frame))
    finding = Finding(
        rule="refuses a right frame, saying form, in ACK slot", where="where " + "and so on " * 12, case=case
    )
    finding = Finding(
        rule=finding.rule, where=finding.where, case=case, want=expected(case), got={"verdict": "refused"}
    )
    lines = drawn(finding, width=width)
    assert all(len(line) <= width for line in lines if "framesim " not in line)
    assert not any(line.endswith(" ") for line in lines)
    assert lines[3].startswith("   ")
    if width == 80:
        place = next(at for at, line in enumerate(lines) if line.startswith("   right: "))
        assert lines[place + 1].startswith(" " * 10)


@pytest.mark.parametrize(
    ("frame", "command"),
    [
        (CAN, "framesim encode can --identifier 0x3ffff --payload a5 --extended"),
        (fs.CanFrame(identifier=5), "framesim encode can --identifier 0x5"),
        (
            fs.CanFrame(identifier=5, payload=bytes(8), dlc=12),
            f"framesim encode can --identifier 0x5 --payload {'00' * 8} --dlc 12",
        ),
        (fs.CanFrame(identifier=5, remote=True, dlc=2), "framesim encode can --identifier 0x5 --remote --dlc 2"),
        (
            fs.CanFdFrame(identifier=5, payload=b"1", iso=False),
            "framesim encode can-fd --identifier 0x5 --payload 31 --no-iso",
        ),
        (fs.LinFrame(identifier=5, payload=b"12"), "framesim encode lin --identifier 0x5 --payload 3132"),
        (
            fs.SentFrame(status=3, nibbles=(1, 2), pause=100, crc_form="legacy"),
            "framesim encode sent --status 3 --nibbles 1,2 --pause 100 --crc-form legacy",
        ),
        (
            fs.FlexRayFrame(frame_id=5, payload=b"12", channel="B", dynamic=True),
            "framesim encode flexray --frame-id 5 --payload 3132 --channel B --dynamic",
        ),
    ],
)
def test_the_command_names_what_is_not_default_and_gives_the_same_bits(frame, command, capsys):
    network = fs.encode(frame).network
    case = encode_case(network, frame)
    assert Finding(rule="x", case=case).replay() == command
    assert main([*shlex.split(command)[1:], "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["bits"] == fs.encode(frame).bits.to01()


def test_what_a_rule_says_is_not_said_twice():
    rule, where = (
        "leaves out the inserted bit after the last bit of CRC",
        "where there is an inserted bit after the last bit of CRC",
    )
    assert said_by(rule, where)
    assert not said_by("refuses a right frame", where)
    assert not said_by(rule, "where extended is set")
    assert not said_by(rule, "")

    def encoder(frame):
        sent = fs.encode(frame)
        crc = next(span for span in sent.spans if span.name == "CRC")
        bits = sent.bits.to01()
        return bits[: crc.stop - 1] + bits[crc.stop :] if crc.stop - 1 in sent.inserted else bits

    report = challenge_encoder(encoder, network="can", cases=600)
    assert [(finding.rule, finding.where) for finding in report.findings] == [(rule, "")]
