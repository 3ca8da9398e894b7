"""How fast a decoder in C is challenged through the pipe."""

import subprocess
import time
from pathlib import Path

import pytest
from endtoend.test_challenge_clients import CLIENTS, on_the_page

from framesim.challenge import challenge_command

CASES = 200_000


@pytest.mark.slow
def test_a_decoder_in_c_is_asked_twenty_thousand_cases_a_second(tmp_path: Path):
    (tmp_path / "client.c").write_text(on_the_page("client.c"), encoding="utf-8")
    program = str(tmp_path / "decoder")
    sources = [str(tmp_path / "client.c"), str(CLIENTS / "can_decoder.c")]
    subprocess.run(["gcc", "-std=c99", "-O2", f"-I{CLIENTS}", *sources, "-o", program], check=True)
    began, busy = time.perf_counter(), time.process_time()
    report = challenge_command([program], network="can", cases=CASES)
    wall, own = time.perf_counter() - began, time.process_time() - busy
    assert report.clean, str(report)
    print(f"{CASES / wall:,.0f} cases a second by the clock, {CASES / own:,.0f} a second of framesim's processor time")
    assert CASES / wall >= 20_000
