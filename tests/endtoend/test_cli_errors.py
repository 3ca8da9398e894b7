"""Bad input to the command as a process: one clear line, exit status 2, no traceback."""

import os
import subprocess
import sys

import pytest

FRAMESIM = [sys.executable, "-m", "framesim"]
CAN = ["encode", "can", "--identifier", "0x123"]


def framesim(*words, stdin=b"", **settings):
    """Run the command and return the finished process; its output is bytes."""
    return subprocess.run([*FRAMESIM, *words], input=stdin, capture_output=True, timeout=60, check=False, **settings)


def assert_one_line(done, *parts):
    """The process ended with status 2 and a single line on standard error that holds ``parts``."""
    said = done.stderr.decode()
    assert done.returncode == 2, said
    assert done.stdout == b""
    assert said.startswith("framesim: ")
    assert said.count("\n") == 1, said
    assert said.endswith("\n")
    for part in parts:
        assert part in said


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        ([], ["command: missing", "expected one of ", ", encode, decode, "]),
        (["encod"], ["command='encod'", "did you mean encode?"]),
        (["--verison"], ["did you mean --version?"]),
        (["encode"], ["network: missing", "can"]),
        (["encode", "cam"], ["network='cam'", "did you mean 'can'?"]),
        (["encode", "--identifier", "1"], ["the network comes first"]),
        (["encode", "can"], ["identifier: missing; give --identifier NUMBER"]),
        ([*CAN[:2], "--identifer", "1"], ["'--identifer'", "did you mean --identifier?"]),
        ([*CAN, "--payloda=01"], ["'--payloda'", "did you mean --payload?"]),
        ([*CAN, "--wings"], ["'--wings': no such option of framesim encode can\n"]),
        ([*CAN, "0102"], ["'0102': a word too many"]),
        ([*CAN, "--payload"], ["--payload: expected one argument"]),
        ([*CAN, "--extended=maybe"], ["--extended", "'maybe'"]),
        ([*CAN, "--json", "--bits"], ["--bits: not allowed with argument --json"]),
        (["encode", "can", "--identifier", "0x800"], ["identifier=0x800: must lie in 0x0..0x7ff"]),
        (["encode", "can", "--identifier", "-1"], ["identifier=-0x1: must lie in 0x0..0x7ff"]),
        (["encode", "can", "--identifier", "0xZZ"], ["identifier='0xZZ': expected a whole number"]),
        (["encode", "can", "--identifier", "9" * 5000], ["identifier='9999", "expected a whole number"]),
        ([*CAN, "--payload", "010203040506070809"], ["len(payload)=9: must lie in 0..8"]),
        ([*CAN, "--payload", "012"], ["payload='012': 3 hex digits, an odd number"]),
        ([*CAN, "--payload", "0g"], ["payload='0g': 'g' is no hex digit"]),
        ([*CAN, "--dlc", "16"], ["dlc=16: must lie in 0..15"]),
        ([*CAN, "--remote", "--payload", "01"], ["payload: must be empty in a remote frame"]),
        (["decode", "can"], ["bits: missing"]),
        (["decode", "can", ""], ["bits: empty"]),
        (["decode", "can", " _ "], ["bits: empty"]),
        (["decode", "can", "0102"], ["bits: '2' at character 4: expected only 0 and 1"]),
        (["decode", "can", "01\n\x1b[31m"], ["bits: '\\x1b' at character 4"]),
        (["decode", "can", "01", "01"], ["'01': a word too many"]),
        (["decode", "can", "{"], ["expected 0 and 1, or a JSON object with a key 'bits'"]),
        (["decode", "can", '{"bits": 5}'], ["key 'bits': expected a text of 0 and 1"]),
        (["decode", "can", '{"bits": "012"}'], ["'2' at character 3"]),
        (["decode", "can", "{" * 900], ["expected 0 and 1, or a JSON object"]),
        (["decode", "can", "@"], ["No such file or directory"]),
        (["decode", "can", "@/no/such/file"], ["bits='@/no/such/file': No such file or directory"]),
        (["decode", "can", "@/dev/zero"], ["more than 1000000 characters"]),
        (["disturb", *CAN[1:]], ["flip: missing"]),
        (["disturb", *CAN[1:], "--flip", ""], ["flip='': expected a whole number"]),
        (["disturb", *CAN[1:], "--flip", "17,x"], ["flip='x': expected a whole number"]),
        (["disturb", *CAN[1:], "--flip", "-1"], ["flip=-1: must lie in 0.."]),
        (["disturb", *CAN[1:], "--flip", "9999"], ["flip=9999: must lie in 0.."]),
        (["disturb", *CAN[1:], "--flip", "0-99999999999"], ["flip=99999999999: must lie in 0.."]),
        (["disturb", *CAN[1:], "--flip", "9-3"], ["flip='9-3': expected the lower bit first"]),
        (["disturb", *CAN[1:], "--flip", "3-5", "--flip", "4"], ["flip=4: named twice"]),
        (["disturb", *CAN[1:], "--flip", "4", "--random-flips", "1"], ["cannot stand beside --flip"]),
        (["disturb", *CAN[1:], "--flip", "4", "--seed", "1"], ["seed: stands only beside --random-flips"]),
        (["disturb", *CAN[1:], "--random-flips", "9999"], ["random-flips=9999: must lie in 0.."]),
        (["disturb", *CAN[1:], "--random-flips", "1", "--seed", "-1"], ["seed=-1: must lie in 0.."]),
    ],
)
def test_a_slip_is_told_in_one_line(words, parts):
    assert_one_line(framesim(*words), *parts)


def test_a_folder_given_as_a_file_is_told_in_one_line(tmp_path):
    assert_one_line(framesim("decode", "can", f"@{tmp_path}"), "Is a directory")


def test_a_binary_file_is_told_in_one_line(tmp_path):
    binary = tmp_path / "picture"
    binary.write_bytes(b"0101\x89PNG\r\n\x1a\n\x00")
    assert_one_line(framesim("decode", "can", f"@{binary}"), "byte 0x89 at character 5: expected only 0 and 1")
    nul = tmp_path / "nul"
    nul.write_bytes(b"01\x00")
    assert_one_line(framesim("decode", "can", f"@{nul}"), "'\\x00' at character 3")


def test_empty_standard_input_is_told_in_one_line():
    assert_one_line(framesim("decode", "can", "-"), "bits on standard input: empty")


def test_closed_standard_input_is_told_in_one_line():
    command = f"{sys.executable} -m framesim decode can - <&-"
    done = subprocess.run(["bash", "-c", command], capture_output=True, timeout=60, check=False)
    assert_one_line(done, "bits on standard input: it is closed")


def test_endless_standard_input_is_refused_without_reading_it_all():
    process = subprocess.Popen(
        [*FRAMESIM, "decode", "can", "-"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    chunk, written, refused = b"01" * 32768, 0, False
    while written < 1_000_000_000 and not refused:
        try:
            written += os.write(process.stdin.fileno(), chunk)
        except BrokenPipeError:
            refused = True
    stderr = process.stderr.read()
    for stream in (process.stdin, process.stdout, process.stderr):
        stream.close()
    assert process.wait(timeout=60) == 2
    assert stderr == b"framesim: bits on standard input: more than 1000000 characters; no frame is that long\n"
    assert refused
    assert written < 4_000_000


@pytest.mark.parametrize("words", [[*CAN, "--json"], CAN, ["--help"]])
def test_a_reader_that_went_away_is_no_news(words):
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run([*FRAMESIM, *words], stdout=writing, stderr=subprocess.PIPE, timeout=60, check=False)
    os.close(writing)
    assert (done.returncode, done.stderr) == (141, b"")


def test_a_full_disk_is_told_in_one_line():
    with open("/dev/full", "wb") as full:
        done = subprocess.run([*FRAMESIM, *CAN, "--json"], stdout=full, stderr=subprocess.PIPE, timeout=60, check=False)
    assert done.returncode == 2
    assert done.stderr == b"framesim: output: No space left on device\n"


def test_an_interrupted_command_ends_with_status_130(monkeypatch, capsys):
    from framesim.cli import encode, main

    def interrupted(arguments):
        raise KeyboardInterrupt

    monkeypatch.setattr(encode, "run", interrupted)
    assert main.main(["encode"]) == 130
    assert capsys.readouterr().err == ""
