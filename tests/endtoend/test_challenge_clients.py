"""The clients on the page do what the page says: extracted, compiled, challenged through the pipe."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from framesim.challenge import challenge_command
from framesim.challenge.symptom import TOLERANCE

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "challenge.md").read_text(encoding="utf-8")
CLIENTS = Path(__file__).parent / "clients"

MY_CODEC = """
import framesim as fs
from framesim.challenge.endpoint import _answer
from framesim.wire import parse_bits


def decode(bits):
    return dict(_answer(fs.receive(parse_bits(bits), "can")))


def encode(case):
    return fs.encode(fs.CanFrame(
        identifier=case["identifier"], payload=bytes.fromhex(case["payload"]), extended=case["extended"],
        remote=case["remote"], dlc=case["dlc"],
    )).bits.to01()
"""


def on_the_page(name):
    found = re.search(rf"<!-- {re.escape(name)} -->\n```\w+\n(.*?)```\n<!-- end", PAGE, re.DOTALL)
    assert found is not None
    return found[1]


@pytest.fixture(scope="module")
def c_decoder(tmp_path_factory):
    """Return what compiles the page's client with the test's decoder."""
    folder = tmp_path_factory.mktemp("c")
    (folder / "client.c").write_text(on_the_page("client.c"), encoding="utf-8")

    def build(*flags):
        program = folder / ("decoder" + "".join(flags))
        sources = [str(folder / "client.c"), str(CLIENTS / "can_decoder.c")]
        warnings = ["-std=c99", "-O2", "-Wall", "-Wextra", "-Werror", "-Wno-unused-result"]
        subprocess.run(["gcc", *warnings, *flags, f"-I{CLIENTS}", *sources, "-o", str(program)], check=True)
        return str(program)

    return build


def test_the_clients_are_as_short_as_the_page_promises():
    assert len(on_the_page("client.py").strip().splitlines()) <= 15
    assert len(on_the_page("client.c").strip().splitlines()) <= 15


def test_a_right_decoder_in_c_is_found_right(c_decoder):
    report = challenge_command([c_decoder()], network="can", cases=12_000)
    assert report.clean, str(report)
    assert report.asked == 12_000


def test_a_decoder_in_c_without_the_stuff_bit_behind_the_crc_is_found_out(c_decoder):
    report = challenge_command([c_decoder("-DNO_STUFF_AFTER_CRC")], network="can", cases=5_000)
    first = report.findings[0]
    assert first.rule.startswith("refuses a right frame")
    assert first.where == "where there is an inserted bit after the last bit of CRC"
    # Some of the frames it refuses have another level in the acknowledge slot, which is not why it refuses them.
    assert not [finding.rule for finding in report.findings if finding.rule.endswith(TOLERANCE)]


def test_the_python_client_serves_both_modes(tmp_path):
    (tmp_path / "client.py").write_text(on_the_page("client.py"), encoding="utf-8")
    (tmp_path / "my_codec.py").write_text(MY_CODEC, encoding="utf-8")
    done = subprocess.run(
        [
            *(sys.executable, "-m", "framesim", "challenge", "can", "--mode", "both", "--cases", "1500", "--json"),
            *("--", sys.executable, str(tmp_path / "client.py")),
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    record = json.loads(done.stdout)
    assert record["findings"] == []
    assert record["asked"] == 1500
