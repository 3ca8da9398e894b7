"""The commands as processes: what a person types, what comes out."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

import framesim
from framesim.cli.main import COMMANDS

CAN = ["can", "--identifier", "0x123", "--payload", "0102"]


def framesim_says(*words, stdin=""):
    """Run the command, expect success, and return its standard output."""
    done = subprocess.run(
        [sys.executable, "-m", "framesim", *words],
        input=stdin,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


def test_help_lists_every_command_with_its_summary():
    said = framesim_says("--help")
    for name, summary in COMMANDS.items():
        assert f"  {name}" in said
        assert summary in said


def test_every_command_has_a_file_and_says_help():
    for name in COMMANDS:
        assert f"usage: framesim {name}" in framesim_says(name, "--help")


def test_version_is_the_packages():
    assert framesim_says("--version") == f"framesim {framesim.__version__}\n"


@pytest.mark.parametrize("command", ["encode", "disturb"])
@pytest.mark.parametrize("network", framesim.networks())
def test_a_networks_options_are_the_fields_of_its_frame(command, network):
    said = framesim_says(command, network, "--help")
    known = framesim.networks.network(network)
    assert known.standard.split()[0] in said
    for field in known.frame_type.__dataclass_fields__:
        assert f"--{field.replace('_', '-')}" in said


def test_encode_json_holds_the_wire_frame():
    record = json.loads(framesim_says("encode", *CAN, "--json"))
    sent = framesim.encode(framesim.CanFrame(identifier=0x123, payload=b"\x01\x02"))
    assert list(record) == ["network", "bits", "spans", "inserted", "frame"]
    assert record["network"] == "can"
    assert record["bits"] == sent.bits.to01()
    assert [framesim.Span(**span) for span in record["spans"]] == list(sent.spans)
    assert record["inserted"] == list(sent.inserted)
    assert record["frame"] == {
        "identifier": 0x123,
        "payload": "0102",
        "extended": False,
        "remote": False,
        "dlc": 2,
    }


def test_what_encode_writes_decode_takes_back(tmp_path):
    frame = json.loads(framesim_says("encode", *CAN, "--json"))["frame"]
    as_json, as_bits = framesim_says("encode", *CAN, "--json"), framesim_says("encode", *CAN, "--bits")
    kept = tmp_path / "bits.txt"
    kept.write_text(as_bits)
    for words, stdin in ((["-"], as_json), (["-"], as_bits), ([f"@{kept}"], ""), ([as_bits], "")):
        record = json.loads(framesim_says("decode", "can", *words, "--json", stdin=stdin))
        assert list(record) == ["accepted", "complete", "check", "at", "frame"]
        assert (record["accepted"], record["complete"], record["check"]) == (True, True, None)
        assert record["frame"] == frame


def test_decode_says_which_check_spoke_and_where():
    record = json.loads(framesim_says("decode", "can", "0000 0001", "--json"))
    # six equal bits: the sixth, bit 5, breaks the stuffing rule
    assert record == {"accepted": False, "complete": True, "check": "stuffing", "at": 5, "frame": None}
    said = framesim_says("decode", "can", "0000_0001")
    assert "     ^ stuffing" in said
    assert "Not accepted: stuffing spoke at bit 5." in said


def test_decode_tells_a_wire_that_ends_from_one_that_rests():
    short = json.loads(framesim_says("decode", "can", "0101", "--json"))
    assert short == {"accepted": False, "complete": False, "check": None, "at": None, "frame": None}
    rests = json.loads(framesim_says("decode", "can", "0101", "--then-idle", "--json"))
    # bits 3..7 are five equal bits, so bit 8 breaks the rule
    assert (rests["check"], rests["at"]) == ("stuffing", 8)


def test_disturb_json_holds_both_sides_and_the_judgement():
    record = json.loads(framesim_says("disturb", *CAN, "--flip", "17,40", "--json"))
    sent = framesim.encode(framesim.CanFrame(identifier=0x123, payload=b"\x01\x02"))
    judgement = framesim.judge(sent, sent.flipped([17, 40]))
    assert list(record) == [
        *("network", "sent", "seen", "flips", "seed", "common"),
        *("outcome", "check", "at", "alone", "frame", "received"),
    ]
    assert record["sent"] == sent.bits.to01()
    assert [place for place, (a, b) in enumerate(zip(record["sent"], record["seen"], strict=True)) if a != b] == [
        17,
        40,
    ]
    assert (record["flips"], record["seed"], record["common"]) == ([17, 40], None, False)
    assert (record["outcome"], record["check"], record["at"]) == (
        judgement.outcome,
        judgement.check,
        judgement.at,
    )
    assert set(record["alone"]) == judgement.alone
    assert record["received"] is None


def test_an_undetected_pair_is_shown_with_what_was_accepted_and_replays_in_decode():
    # The one pair of flips in this frame that one receiver cannot see; found by trying all pairs with this
    # receiver and with an independent one written for the purpose.
    words = ["can", "--identifier", "0x482", "--payload", "F82231D28AEBC714", "--flip", "29,58"]
    record = json.loads(framesim_says("disturb", *words, "--json"))
    assert (record["outcome"], record["check"], record["alone"]) == ("undetected", None, [])
    assert record["received"]["payload"] == "f8d118e940ebc714"
    assert "took payload f8d118e940ebc714 for f82231d28aebc714: undetected." in " ".join(
        framesim_says("disturb", *words).split()
    )
    replayed = json.loads(framesim_says("decode", "can", record["seen"], "--then-idle", "--json"))
    assert replayed["accepted"] is True
    assert replayed["frame"] == record["received"]


def test_a_flip_that_everybody_sees_is_caught_by_the_sender():
    record = json.loads(framesim_says("disturb", *CAN, "--flip", "40", "--common", "--json"))
    assert (record["check"], record["at"], record["common"]) == ("monitoring", 40, True)


def test_random_flips_repeat_with_the_seed_and_change_with_it():
    one = framesim_says("disturb", *CAN, "--random-flips", "5", "--seed", "7", "--json")
    assert one == framesim_says("disturb", *CAN, "--random-flips", "5", "--seed", "7", "--json")
    other = framesim_says("disturb", *CAN, "--random-flips", "5", "--seed", "8", "--json")
    assert len(set(json.loads(one)["flips"])) == 5
    assert json.loads(one)["flips"] != json.loads(other)["flips"]
    assert json.loads(one)["seed"] == 7


def test_a_range_of_flips_means_every_bit_in_it():
    record = json.loads(framesim_says("disturb", *CAN, "--flip", "3-5,9", "--json"))
    assert record["flips"] == [3, 4, 5, 9]


def test_underscores_and_hyphens_are_the_same_in_an_option():
    assert framesim_says("decode", "can", "01", "--then_idle") == framesim_says("decode", "can", "01", "--then-idle")


def test_the_installed_command_is_this_one():
    project = (Path(__file__).parents[2] / "pyproject.toml").read_text()
    assert 'framesim = "framesim.cli.main:entry"' in project
