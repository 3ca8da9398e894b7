"""How fast a decoder in C is challenged through the pipe."""

import subprocess
import time
from pathlib import Path

import pytest
from endtoend.test_challenge_clients import CLIENTS, on_the_page

from framesim.challenge import challenge_command

SHORT, LONG = 20_000, 220_000


@pytest.mark.slow
def test_a_decoder_in_c_is_asked_twenty_thousand_cases_a_second(tmp_path: Path):
    # The difference of two runs, so that what is done once (imports, vectors, hypothesis' examples) does not count.
    (tmp_path / "client.c").write_text(on_the_page("client.c"), encoding="utf-8")
    program = str(tmp_path / "decoder")
    sources = [str(tmp_path / "client.c"), str(CLIENTS / "can_decoder.c")]
    subprocess.run(["gcc", "-std=c99", "-O2", f"-I{CLIENTS}", *sources, "-o", program], check=True)
    clock, busy = [], []
    for count in (SHORT, LONG):
        began, own = time.perf_counter(), time.process_time()
        report = challenge_command([program], network="can", cases=count)
        clock.append(time.perf_counter() - began)
        busy.append(time.process_time() - own)
        assert report.clean, str(report)
    more = LONG - SHORT
    by_clock, by_processor = more / (clock[1] - clock[0]), more / (busy[1] - busy[0])
    print(f"{by_clock:,.0f} cases a second by the clock, {by_processor:,.0f} a second of framesim's processor time")
    assert by_clock >= 20_000
