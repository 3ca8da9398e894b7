"""How fast sparks are followed on every link: run by hand with ``-m slow``; the figures go into docs."""

import dataclasses
import resource
import time

import numpy as np
import pytest
from scipy.signal import lfilter

from framesim.coverage.measure import measure_coverage
from framesim.coverage.scenario import load_scenario
from framesim.disturbance import CanLink, Ignition
from framesim.disturbance.sparks import TRANSIENTS

pytestmark = pytest.mark.slow

STEP_S = 1e-9
CHUNK = 2_000_000  # 2 ms, 1000 bits


def levels(bits):
    return (bits * 2654435761 >> 7 & 1).astype(np.uint8)


def on_a_grid(link, events):
    """One second of CAN, every nanosecond of it: filter, compare with hysteresis, sample."""
    fast = events.only(*TRANSIENTS)
    half = 2 * np.pi * link.bandwidth_hz * STEP_S / 2
    per_bit = round(1 / link.bit_rate / STEP_S)
    state, said, flipped = np.zeros(1), 1, []
    volts = fast.coupled_volts * 10 ** (-link.conversion_loss_db / 20)
    for first in range(0, 10**9, CHUNK):
        times = (first + np.arange(CHUNK)) * STEP_S
        noise = np.zeros(CHUNK)
        for row in np.flatnonzero((fast.time_s > times[0] - 20e-6) & (fast.time_s <= times[-1])):
            low = max(0, int(np.ceil((fast.time_s[row] - times[0]) / STEP_S)))
            since = times[low:] - fast.time_s[row]
            wave = np.exp(-since / fast.decay_s[row]) * np.cos(
                2 * np.pi * fast.ring_hz[row] * since + fast.phase_rad[row]
            )
            noise[low:] += volts[row] * wave
        filtered, state = lfilter([half / (1 + half)] * 2, [1, (half - 1) / (half + 1)], noise, zi=state)
        bits = first // per_bit + np.arange(CHUNK // per_bit)
        level = levels(bits)
        seen = np.where(np.repeat(level, per_bit) == 0, link.dominant_volts, 0.0) + filtered
        says = np.where(seen >= link.upper_volts, 0, np.where(seen <= link.lower_volts, 1, -1)).astype(np.int8)
        if says[0] < 0:
            says[0] = said
        known = np.flatnonzero(says >= 0)
        says = says[known[np.searchsorted(known, np.arange(CHUNK), side="right") - 1]]
        said = says[-1]
        looked = says.reshape(-1, per_bit)[:, round(link.sample_point * per_bit)]
        flipped += bits[looked != level].tolist()
    return flipped


def test_a_second_is_followed_a_thousand_times_faster_than_on_a_grid_of_one_nanosecond_with_equal_flips():
    link, engine = CanLink(), Ignition(severity="fault")
    engine.events(0, 1, 5), link.hits(engine.events(0, 1, 5), levels)  # warm
    start = time.perf_counter()
    events = engine.events(-0.001, 1, 5)
    ours = [bit for bit in link.hits(events, levels, toggles=False).flipped.tolist() if 0 <= bit < 500_000]
    quick_s = time.perf_counter() - start
    start = time.perf_counter()
    wanted = on_a_grid(link, events)
    slow_s = time.perf_counter() - start
    print(f"closed form {quick_s * 1e3:.1f} ms, grid {slow_s:.1f} s, ratio {slow_s / quick_s:,.0f}, {len(ours)} flips")
    assert len(wanted) >= 5
    assert ours == wanted
    assert slow_s / quick_s >= 1000


def test_memory_does_not_grow_with_engine_hours():
    scenario = dataclasses.replace(load_scenario(None), severities=("fault",))
    measure_coverage(dataclasses.replace(scenario, hours=0.1))
    first = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    measure_coverage(dataclasses.replace(scenario, hours=0.5))
    again = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"{first / 1024:.0f} MiB after 0.1 h, {again / 1024:.0f} MiB after 0.5 h")
    assert again < first * 1.25


@pytest.mark.parametrize("workers", [1, 2])
def test_an_hour_of_all_links_takes_seconds(workers):
    scenario = dataclasses.replace(load_scenario(None), severities=("fault",), receivers=1)
    engine = dataclasses.replace(scenario.disturbance, speed_rpm=3000)
    before = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    start = time.perf_counter()
    measure_coverage(dataclasses.replace(scenario, disturbance=engine, hours=1.0), workers=workers)
    taken = time.perf_counter() - start
    after = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    cpu = sum(one.ru_utime - other.ru_utime for one, other in zip(after, before, strict=True))
    print(f"{workers} processes: {taken:.1f} s, {cpu:.1f} s of one core")
    assert taken <= 20
