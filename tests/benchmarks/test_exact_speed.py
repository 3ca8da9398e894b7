"""How long exact methods take. Run by hand: pytest tests/benchmarks/test_exact_speed.py -m slow --benchmark-only.

Compiled loops are compiled before the clock starts. The limits are processor time of one thread, about twice what a
machine with half a megabyte of second-level cache takes; they are here to show a method that has become slow.
"""

import subprocess
import sys
import time
from statistics import median

import numpy as np
import pytest

from framesim import CanFrame, encode
from framesim.coverage.exact.forms import Form
from framesim.coverage.exact.graded import counts_by_flips
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.means import means_by_flips
from framesim.coverage.exact.numeric import fate_of
from framesim.coverage.exact.patterns import undetected_bursts, undetected_patterns
from framesim.coverage.exact.same_content import same_content
from framesim.coverage.population import Payloads
from framesim.coverage.sampling import sample_frame
from framesim.disturbance import GilbertElliott, Scatter

pytestmark = pytest.mark.slow

DRAWN = 300_000  # frames by which the rate of plain sampling is taken
FRAME = CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714"))
LINE = line_of(encode(FRAME))
TREE = same_content(LINE)


def timed(benchmark, limit_s, function, *arguments, rounds=5):
    """Run a function, and fail where the median of its runs took more than its limit."""
    function(*arguments)
    taken = []

    def run():
        begin = time.thread_time()
        result = function(*arguments)
        taken.append(time.thread_time() - begin)
        return result

    result = benchmark.pedantic(run, rounds=rounds)
    assert median(taken) <= limit_s, f"{median(taken):.3g} s of processor time, limit {limit_s:g} s"
    return result


@pytest.mark.parametrize(("flips", "limit_s"), [(2, 0.4e-3), (3, 6e-3), (4, 0.2)])
def test_patterns_of_few_flips(benchmark, flips, limit_s):
    def search():
        return undetected_patterns(LINE, flips, tree=TREE)

    assert len(timed(benchmark, limit_s, search, rounds=50 if flips < 4 else 5)) == {2: 2, 3: 2, 4: 16}[flips]


def test_bursts_of_twenty_bits(benchmark):
    assert timed(benchmark, 1.0, undetected_bursts, LINE, 20).shortest is not None


def test_counts_up_to_six_flips(benchmark):
    assert timed(benchmark, 0.4, counts_by_flips, LINE, 6).by_flips()[6] == 10538


@pytest.mark.parametrize("ratio", [1e-6, 1e-3, 1e-2, 0.1, 0.5])
def test_full_sum_on_scatter(benchmark, ratio):
    fate = timed(benchmark, 6.0, fate_of, LINE, Scatter(bit_error_ratio=ratio).matrices(), rounds=3)
    assert fate.undetected > 0


def test_full_sum_on_two_states(benchmark):
    channel = GilbertElliott(good_to_bad=1e-5, bad_to_good=0.05, good_error=1e-6, bad_error=0.3)
    assert timed(benchmark, 16.0, fate_of, LINE, channel.matrices(), rounds=2).undetected > 0


@pytest.mark.parametrize(("flips", "limit_s"), [(2, 0.6), (3, 1.5), (4, 5.0)])
def test_counts_of_a_thousand_frames(benchmark, flips, limit_s):
    form = Form(FRAME)
    payloads = Payloads(frame=FRAME).draw(0, 1000)
    assert timed(benchmark, limit_s, form.counts, payloads, flips, rounds=2).sum() > 0


def test_single_flips_of_a_hundred_thousand_frames(benchmark):
    form = Form(FRAME)
    payloads = Payloads(frame=FRAME).draw(0, 100_000)
    assert len(timed(benchmark, 1.5, form.singles, payloads, rounds=2)[3]) == 100_000


def test_mean_over_payloads_to_ten_per_cent(benchmark):
    """At most 60 s on two cores at 1e-2; and what plain sampling would need for the same, at the rate it has here."""
    population = Payloads(frame=FRAME)
    channel = Scatter(bit_error_ratio=0.01)
    means_by_flips(population, [0.01], budget_s=15.2)
    sample_frame(encode(FRAME), channel, frames=1000, seed=1)
    begin = time.perf_counter()
    mean = benchmark.pedantic(means_by_flips, args=(population, [0.01]), kwargs={"workers": 2}, rounds=1)[0]
    taken_s = time.perf_counter() - begin
    begin = time.thread_time()
    sample_frame(encode(FRAME), channel, frames=DRAWN, seed=1)
    rate = DRAWN / (time.thread_time() - begin)
    # Half the width of a binomial interval is 1.96 sqrt(P / n), a tenth of P at n = (19.6)^2 / P.
    needed_s = 19.6**2 / mean.estimate.best / rate
    benchmark.extra_info |= {"plain_frames_per_s": rate, "plain_needs_s": needed_s, "times_faster": needed_s / taken_s}
    assert taken_s < 60
    assert np.ptp([mean.estimate.low, mean.estimate.high]) < 0.2 * mean.estimate.best
    assert needed_s > 10 * taken_s


def test_memory_of_the_full_sum():
    """A process that sums a frame up on two channel states stays below 2 GiB."""
    code = (
        "import resource, framesim as fs;"
        "fs.residual(fs.CanFrame(identifier=0x482, payload=bytes.fromhex('F82231D28AEBC714')),"
        "fs.GilbertElliott(good_to_bad=1e-5, bad_to_good=0.05, good_error=1e-6, bad_error=0.3));"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    kib = int(done.stdout)
    print(f"{kib / 1024:.0f} MiB")
    assert kib < 2 << 20
