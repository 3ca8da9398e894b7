"""The public surface: what was promised stays, under its name; more may be added."""

import ast
import inspect
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import pytest

import framesim as fs
from framesim.networks import network
from framesim.words import Check, Outcome

PLACE = Path(fs.__file__)

# name -> the arguments, or the attributes, that stay
CALLS = {
    "encode": ["frame"],
    "receive": ["bits", "network"],
    "judge": ["sent", "seen"],
    "networks": [],
}
RECORDS = {
    "WireFrame": ["bits", "spans", "inserted", "network", "frame"],
    "Reception": ["accepted", "complete", "check", "at", "frame"],
    "Judgement": ["outcome", "check", "at", "alone"],
}
FRAMES = {
    "can": ("CanFrame", ["identifier", "payload", "extended", "remote", "dlc"]),
    "can-fd": ("CanFdFrame", ["identifier", "payload", "extended", "bit_rate_switch", "error_state"]),
    "can-xl": ("CanXlFrame", ["identifier", "payload"]),
    "lin": ("LinFrame", ["identifier", "payload", "checksum"]),
    "flexray": (
        "FlexRayFrame",
        ["frame_id", "payload", "cycle", "channel", "sync", "startup", "preamble_indicator", "null"],
    ),
    "ethernet": ("EthernetFrame", ["destination", "source", "ethertype", "payload"]),
    "sent": ("SentFrame", ["status", "nibbles"]),
}
# promised as well, held to its promise from the day it is public
COMING = {
    "residual": ["frame_or_population", "channel", "acceptance"],
    "measure_coverage": ["scenario"],
    "check_claims": ["path"],
    "Scatter": ["bit_error_ratio"],
    "GilbertElliott": ["good_to_bad", "bad_to_good", "good_error", "bad_error"],
    "Ignition": ["speed_rpm", "cylinders", "strokes", "leads", "severity"],
}
ERRORS = ["FramesimError", "BadArgument", "BadInput", "NotFeasible"]


@pytest.mark.parametrize("name", fs.__all__)
def test_every_public_name_can_be_had_and_says_what_it_is(name):
    value = getattr(fs, name)
    assert name == "__version__" or inspect.getdoc(value)
    assert name in dir(fs)


def test_the_promised_names_are_public():
    frames = [frame for frame, _ in FRAMES.values()]
    assert {*CALLS, *RECORDS, *frames, *ERRORS, "Check", "Outcome", "Span", "codes"} <= set(fs.__all__)
    assert len(set(fs.__all__)) == len(fs.__all__)


def test_a_name_that_is_not_public_is_an_attribute_error():
    with pytest.raises(AttributeError, match="module 'framesim' has no attribute 'encoed'"):
        fs.encoed  # noqa: B018


@pytest.mark.parametrize(
    ("name", "arguments"), [*CALLS.items(), *(item for item in COMING.items() if item[0] in fs.__all__)]
)
def test_a_call_keeps_its_arguments(name, arguments):
    given = list(inspect.signature(getattr(fs, name)).parameters)
    assert [argument for argument in given if argument in arguments] == arguments


@pytest.mark.parametrize(("name", "attributes"), RECORDS.items())
def test_a_record_keeps_its_attributes_and_cannot_be_changed(name, attributes):
    record = getattr(fs, name)
    assert [field.name for field in fields(record) if field.name in attributes] == attributes
    assert record.__dataclass_params__.frozen
    assert hasattr(record, "__slots__")


@pytest.mark.parametrize(("name", "promise"), FRAMES.items())
def test_a_frame_keeps_its_fields_which_are_the_commands_options(name, promise):
    frame_type, kept = promise
    assert name in fs.networks()
    assert network(name).frame_type is getattr(fs, frame_type)
    assert [field.name for field in fields(getattr(fs, frame_type)) if field.name in kept] == kept
    assert all(
        parameter.kind is inspect.Parameter.KEYWORD_ONLY
        for parameter in inspect.signature(getattr(fs, frame_type)).parameters.values()
    )


def test_the_words_are_the_values():
    assert {outcome.value for outcome in Outcome} == {"delivered", "detected", "undetected", "unseen"}
    assert {
        "monitoring", "stuffing", "form", "crc", "header_crc", "checksum", "parity", "line_code", "stuff_count",
        "timing", "acknowledge", "redundancy", "end_to_end",
    } <= {check.value for check in Check}  # fmt: skip
    assert (fs.Check, fs.Outcome) == (Check, Outcome)


def test_every_error_of_ours_has_one_root_and_a_bad_argument_is_a_value_error():
    assert all(issubclass(getattr(fs, name), fs.FramesimError) for name in ERRORS)
    assert issubclass(fs.BadArgument, ValueError)


def test_networks_is_both_a_call_and_a_place():
    from framesim.networks import can

    assert fs.networks() == fs.networks.names()
    assert fs.networks.can is can


def test_type_checkers_see_the_names_that_are_loaded_late():
    tree = ast.parse(PLACE.read_text(encoding="utf-8"))
    guarded = next(node for node in tree.body if isinstance(node, ast.If))
    seen = {alias.asname: node.module for node in guarded.body for alias in node.names}
    assert set(seen) == set(fs.__all__) - {"__version__"}
    for name, place in fs._PLACES.items():
        assert not place or seen[name] == place


def test_nothing_heavy_is_loaded_to_encode_receive_and_judge():
    program = (
        "import sys, framesim as fs\n"
        "assert 'bitarray' not in sys.modules\n"
        "sent = fs.encode(fs.CanFrame(identifier=1, payload=b'ab'))\n"
        "assert fs.judge(sent, sent.flipped([3])).check\n"
        "assert fs.receive(sent.bits, network='can').accepted\n"
        "heavy = {'numpy', 'scipy', 'mpmath', 'numba', 'rich', 'hypothesis'} & set(sys.modules)\n"
        "print(sorted(heavy))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert (done.stdout.strip(), done.stderr) == ("[]", "")
