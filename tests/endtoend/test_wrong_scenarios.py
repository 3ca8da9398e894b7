"""A scenario file that cannot be used is refused in one line by every command: file, key and expected form."""

import numpy as np
import pytest
from scenario_texts import ONE_LINK

from framesim.cli.main import main
from framesim.coverage.scenario import SWEEPER, load_scenario, scenario_from_text

COMMANDS = {
    "coverage": ["coverage", "{}", "--hours", "0.001"],
    "course": ["course", "{}", "--seconds", "1"],
    "fit": ["fit", "--scenario", "{}", "--seconds", "1"],
    "slips": ["slips", "--sparks", "10", "--scenario", "{}"],
    "campaign": ["campaign", "run", "--scenario", "{}", "--hours", "0.001"],
}


def swept(old, new):
    assert old in SWEEPER
    return SWEEPER.replace(old, new)


def without_engine(disturbance, *, top=""):
    """A scenario of one link whose disturbance is something else."""
    before, rest = ONE_LINK.split("[disturbance]")
    kept = [line for line in before.splitlines() if not line.startswith(("hours", "severities"))]
    signal = rest[rest.index("[signal]") :].replace("[analog]", "")
    return "\n".join(kept) + f"\n{top}\n[disturbance]\n{disturbance}\n{signal}"


def recorded(keys, *, top=""):
    return without_engine(f'kind = "waveform"\n{keys}', top=top)


NPY = 'file = "quiet.npy"\nrate_hz = 1e6'
TEXTS = {
    "a frame of LIN that is too slow for its slot": (
        swept("[links.lin]", "[links.lin]\nbit_rate = 9600"),
        "signal.every_s=0.01: a frame of links.lin takes up to 0.013 s; must be more",
    ),
    "a frame of SENT that is too slow for its slot": (
        swept("[links.sent]", "[links.sent]\ntick_s = 9e-5"),
        "signal.every_s=0.01: a frame of links.sent takes up to",
    ),
    "slots that no frame of LIN fits into": (
        swept("every_s = 0.010", "every_s = 0.004"),
        "signal.every_s=0.004: a frame of links.lin takes up to 0.0065 s; must be more",
    ),
    "no kind": (swept('kind = "ignition"\n', ""), "disturbance.kind: missing; expected one of ignition, scatter"),
    "a kind that is a list": (swept('kind = "ignition"', 'kind = ["ignition"]'), "disturbance.kind: expected one of"),
    "an engine's key of a channel": (
        swept("strokes = 4", "bit_error_ratio = 1e-4"),
        "disturbance.bit_error_ratio: unk",
    ),
    "two causes": (swept("[signal]", '[disturbance]\nkind = "scatter"\n[signal]'), "not TOML: Cannot declare"),
    "a table where a link stands": (swept("[links.lin]", "[[links.lin]]"), "links.lin: expected a table, got"),
    "a recording shorter than two bits": (
        recorded('file = "short.csv"\nrepeat_s = 0.1', top="hours = 0.001"),
        "disturbance.file='short.csv': lasts 2e-08 s; expected at least two bits of 2e-06 s",
    ),
    "a recording whose name holds a zero byte": (
        recorded('file = "a\\u0000b.csv"'),
        "no file's name holds a zero byte",
    ),
    "a recording whose name is too long": (recorded(f'file = "{"a" * 5000}.csv"'), "disturbance.file="),
    "a recording that is missing": (recorded('file = "none.csv"'), "cannot be read (No such file or directory)"),
    "a pace too fast": (recorded(f"{NPY}\nresample_hz = 1e12"), "disturbance.resample_hz=1e+12: makes"),
    "a pace out of range": (recorded(f"{NPY}\nresample_hz = 5.0"), "disturbance.resample_hz=5.0: must be"),
    "a low-pass out of range": (recorded(f"{NPY}\nlow_pass_hz = 0.0"), "disturbance.low_pass_hz=0.0: must be"),
    "nothing": ("", "empty; expected a scenario in TOML"),
    "not a number": (swept("speed_rpm = 2950", "speed_rpm = nan"), "disturbance.speed_rpm: expected a finite number"),
    "a number beyond all bounds": (swept("seed = 1", f"seed = 1{'0' * 400}"), "seed: a number of more than 300 digits"),
}


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("case", TEXTS)
def test_what_is_wrong_in_a_scenario_is_told_in_one_line(case, command, tmp_path, capsys):
    text, told = TEXTS[case]
    path = tmp_path / "wrong.toml"
    path.write_text(text)
    (tmp_path / "short.csv").write_text("time_s,volts\n0,1\n1e-8,1\n2e-8,1\n")
    np.save(tmp_path / "quiet.npy", np.zeros(20_000))
    assert main([word.format(path) for word in COMMANDS[command]]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert said.err.startswith(f"framesim: {path}: ")
    assert told in said.err


@pytest.mark.parametrize(("command", "told"), [("fit", "is a channel already"), ("slips", "expected ignition or wave")])
def test_a_scenario_without_a_voltage_is_refused_by_file_and_key(command, told, tmp_path, capsys):
    path = tmp_path / "channel.toml"
    path.write_text(without_engine('kind = "scatter"\nbit_error_ratio = 1e-4', top="frames = 10"))
    assert main([word.format(path) for word in COMMANDS[command]]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert said.startswith(f"framesim: {path}: disturbance.kind: ")
    assert told in said


@pytest.mark.parametrize("words", [["coverage", ""], ["compare", "--channel", ""], ["fit", "--scenario", ""]])
def test_an_empty_name_is_no_directory(words, capsys):
    assert main(words) == 2
    assert capsys.readouterr().err.startswith("framesim: file='': expected the name of a ")


def test_a_byte_order_mark_does_no_harm(tmp_path):
    path = tmp_path / "marked.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SWEEPER.encode())
    assert load_scenario(str(path)) == scenario_from_text(SWEEPER, file="text")


def test_a_recording_slower_than_the_bits_is_followed_in_small_pieces(tmp_path):
    # four samples in 4 ms, 2,000 bits: pieces used to be as long as a million samples are
    from framesim.disturbance import waveform_link
    from framesim.disturbance.can_link import CanLink
    from framesim.disturbance.waveform import Waveform

    asked = []

    def levels(bits):
        asked.append(bits.size)
        return np.ones(bits.size, np.uint8)

    wave = Waveform(start_s=0.0, rate_hz=1e3, volts=np.array([0.0, 3.0, 0.0, 0.0, 0.0]))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(waveform_link, "_BITS_AT_ONCE_SAMPLES", 100)
        cut = waveform_link.recorded_hits(CanLink(), wave, levels)
    assert max(asked) <= 101
    whole = waveform_link.recorded_hits(CanLink(), wave, levels)
    assert cut.flipped.size > 500
    for one, other in zip(cut, whole, strict=True):
        assert np.array_equal(one, other)
