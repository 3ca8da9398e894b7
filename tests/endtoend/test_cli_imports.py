"""Light commands stay light: what a command imports is counted, since seconds depend on the machine."""

import subprocess
import sys

import pytest

HEAVY = {
    "numpy",
    "scipy",
    "numba",
    "llvmlite",
    "mpmath",
    "rich",
    "hypothesis",
    "pytest",
    "importlib.metadata",
}
FRAME = ["can", "--identifier", "0x123", "--payload", "0102"]


def modules_loaded(*words):
    """Return the names of all modules in memory after the command ran in a process of its own."""
    code = (
        "import sys; from framesim.cli.main import main; status = main(sys.argv[1:]); "
        "print(status, *sys.modules, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, timeout=60, check=True)
    status, *names = done.stderr.split()
    assert status == "0"
    return set(names)


@pytest.mark.parametrize(
    "words",
    [
        ["--help"],
        ["--version"],
        ["encode", "--help"],
        ["waveform", "--help"],
        ["fit", "--help"],
        ["slips", "--help"],
        ["course", "--help"],
        ["encode", *FRAME, "--json"],
        ["encode", *FRAME, "--bits"],
        ["decode", "can", "0101", "--json"],
        ["disturb", *FRAME, "--flip", "17,40", "--json"],
        ["claims", "--help"],
        ["claims", "--show-claims"],
    ],
    ids=" ".join,
)
def test_nothing_heavy_is_imported_by(words):
    assert not modules_loaded(*words) & HEAVY


def test_only_the_chosen_command_is_imported():
    loaded = modules_loaded("encode", *FRAME, "--json")
    assert "framesim.cli.encode" in loaded
    assert not {"framesim.cli.decode", "framesim.cli.disturb", "framesim.coverage", "framesim.report"} & loaded


def test_help_loads_no_network_and_no_command():
    loaded = modules_loaded("--help")
    assert not [name for name in loaded if name.startswith(("framesim.networks", "framesim.codes", "bitarray"))]


def test_drawing_needs_rich_but_no_numbers():
    loaded = modules_loaded("encode", *FRAME)
    assert "rich.console" in loaded
    assert not loaded & {"numpy", "scipy", "numba", "hypothesis"}


def test_a_campaign_of_scattered_flips_does_not_wait_for_what_knows_of_sparks():
    rest = ["--bit-error-ratio", "0.01", "--frames", "64", "--unit-frames", "64", "--json"]
    loaded = modules_loaded("campaign", "run", *FRAME, *rest)
    assert "framesim.disturbance.scatter" in loaded
    sparks = {"ignition", "sparks", "pulse_train", "recorded", "can_link", "links"}
    assert not {f"framesim.disturbance.{name}" for name in sparks} & loaded
