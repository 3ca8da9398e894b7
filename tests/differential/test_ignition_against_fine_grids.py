"""Closed forms against step-by-step filtering on fine grids, by scipy and by a plain loop."""

import math

import mpmath
import numpy as np
import pytest
from scipy.signal import bilinear, lfilter, lsim

from framesim.analog import AnalogLine
from framesim.disturbance import CanLink, Ignition, SparkEvent
from framesim.disturbance.rings import Rings, time_above
from framesim.disturbance.slow_coupling import re_strike_pieces, spark_pieces
from framesim.disturbance.sparks import TRANSIENTS


@pytest.mark.parametrize("ratio", [1.0001, 1.2, 2, 10, 400])
def test_time_above_equals_an_integral_of_forty_digits(ratio):
    with mpmath.workdps(40):
        wanted = mpmath.quad(lambda w: mpmath.acos(mpmath.exp(-w)) / mpmath.pi, [0, mpmath.log(ratio)])
    assert time_above(ratio) == pytest.approx(float(wanted), rel=1e-8)


@pytest.mark.parametrize("bandwidth", [0.3e6, 10e6, 25e6, 200e6])
@pytest.mark.parametrize(("hz", "decay"), [(8e6, 0.6e-6), (25e6, 0.12e-6)])
@pytest.mark.parametrize("phase", [0.0, 2.5])
def test_the_low_passed_ring_equals_scipys_filter(bandwidth, hz, decay, phase):
    one = [np.array([value]) for value in (0.0, 3.0, hz, decay, phase)]
    names = ("start_s", "volts", "hz", "decay_s", "phase_rad")
    rings = Rings.through(**dict(zip(names, one, strict=True)), bandwidth_hz=bandwidth)
    times = np.linspace(0, 6 * decay, 20_001)
    wave = 3 * np.exp(-times / decay) * np.cos(2 * np.pi * hz * times + phase)
    corner = 2 * np.pi * bandwidth
    wanted = lsim(([corner], [1, corner]), wave, times)[1]
    ours = rings.voltage(np.zeros(times.size, np.int64), times)
    # The grid's straight lines between points are off by about (omega dt)**2 / 8 of 3 V.
    assert ours == pytest.approx(wanted, abs=3 * (2 * np.pi * hz * times[1]) ** 2)


def turning_points(rings, ring, end_s):
    """All turning points of the sum from the start of ``ring`` on, by way of the brackets."""
    here, low, found = np.array([ring]), np.zeros(1), []
    number = rings.bracket(here, low)
    while low[0] < end_s:
        high = np.minimum(rings.bracket_start(here, number + 1), end_s)
        at = rings.turning(here, low, high)
        if at[0] < high[0]:
            found.append(at[0])
        low, number = high, number + 1
    return np.array(found)


def turning_points_on_a_grid(rings, ring, end_s):
    grid = np.linspace(0, end_s, 20_001)
    volts = rings.voltage(np.full(grid.size, ring), grid)
    up = np.diff(volts) > 0
    return grid[1:-1][up[1:] != up[:-1]], grid[1]


def test_turning_points_of_lone_rings_are_all_found():
    rng = np.random.default_rng(3)
    n = 10
    rings = Rings.through(
        start_s=np.arange(n) * 1e-3,  # far apart
        volts=np.ones(n),
        hz=rng.uniform(3e6, 40e6, n),
        decay_s=rng.uniform(0.05e-6, 2e-6, n),
        phase_rad=rng.uniform(0, 2 * np.pi, n),
        bandwidth_hz=10e6,
    )
    for ring in range(n):
        end = 4 * float(1 / -rings.pole[ring].real)
        wanted, step = turning_points_on_a_grid(rings, ring, end)
        assert turning_points(rings, ring, end) == pytest.approx(wanted, abs=2 * step)


def test_turning_points_of_overlapping_rings_of_unlike_frequency_are_found():
    # A strong quick ring still sounds when a weak slow one starts: several turns within its half cycle.
    rings = Rings.through(
        start_s=np.array([0.0, 0.1e-6]),
        volts=np.array([3.0, 0.5]),
        hz=np.array([22e6, 6e6]),
        decay_s=np.array([0.3e-6, 0.3e-6]),
        phase_rad=np.array([0.4, 2.0]),
        bandwidth_hz=10e6,
    )
    wanted, step = turning_points_on_a_grid(rings, 1, 0.5e-6)
    assert wanted.size > 10
    assert turning_points(rings, 1, 0.5e-6) == pytest.approx(wanted, abs=2 * step)


def reference_bits(link, events, level_at, bits, step_s):
    """Step through time: filter by the trapezoid rule, compare with hysteresis, sample. Returns flipped, toggled."""
    per_bit = round(1 / link.bit_rate / step_s)
    times = (bits[0] * per_bit + np.arange(bits.size * per_bit)) * step_s
    noise = np.zeros(times.size)
    fast = events.only(*TRANSIENTS)
    for start, volts, hz, decay, phase in zip(
        fast.time_s, fast.coupled_volts, fast.ring_hz, fast.decay_s, fast.phase_rad, strict=True
    ):
        low, high = np.searchsorted(times, (start, start + 30 * decay))
        since = times[low:high] - start
        noise[low:high] += volts * np.exp(-since / decay) * np.cos(2 * np.pi * hz * since + phase)
    noise *= 10 ** (-link.conversion_loss_db / 20)
    corner = 2 * np.pi * link.bandwidth_hz
    half = corner * step_s / 2
    filtered = lfilter([half / (1 + half)] * 2, [1, (half - 1) / (half + 1)], noise)
    level = np.repeat(level_at(bits), per_bit)
    volts = np.where(level == 0, link.dominant_volts, 0) + filtered
    says = np.where(volts >= link.upper_volts, 0, np.where(volts <= link.lower_volts, 1, -1)).astype(np.int8)
    # Inside the band: what was said last.
    known = np.flatnonzero(says >= 0)
    says = says[known[np.maximum(np.searchsorted(known, np.arange(says.size), side="right") - 1, 0)]]
    wrong = (says != level).reshape(bits.size, per_bit)
    return bits[wrong[:, round(link.sample_point * per_bit)]], bits[wrong.any(axis=1)]


@pytest.mark.parametrize(
    ("link", "engine"),
    [
        (CanLink(), Ignition(severity="fault")),
        (CanLink(conversion_loss_db=20), Ignition(severity="fault", restrikes_mean=9)),
        (CanLink(bit_rate=2_000_000, conversion_loss_db=20), Ignition(severity="fault")),
        (CanLink(upper_volts=1.3, lower_volts=0.5, conversion_loss_db=22), Ignition(severity="fault")),
        (CanLink(conversion_loss_db=10), Ignition(severity="fault", leads="coil_on_plug")),
        (CanLink(conversion_loss_db=20, bandwidth_hz=2e6), Ignition(severity="fault", glow_s=2e-5, restrikes_mean=9)),
    ],
    ids=["plain", "close", "fast", "wide band", "on plug", "overlapping"],
)
def test_flips_and_toggles_equal_a_walk_through_time_in_small_steps(link, engine):
    def level_at(bits):
        return ((bits.astype(np.uint64) * np.uint64(0x9E37_79B9_7F4A_7C15)) >> np.uint64(63)).astype(np.uint8)

    events = engine.events(-1e-3, 1.5, 17)
    ours = link.hits(events, level_at)
    flipped, toggled = set(), set()
    checked = []
    step_s = 1 / link.bit_rate / round(2e9 / link.bit_rate)  # 0.5 ns
    # Only stretches round transients, or the grid would be all time.
    near = np.unique(np.add.outer(ours.touched, np.arange(-2, math.ceil(6e-6 * link.bit_rate) + 2)))
    near = near[near >= 0]
    for run in np.split(near, np.flatnonzero(np.diff(near) > 1) + 1):
        if checked and sum(map(len, checked)) > 12_000:
            break
        some = events.between(run[0] / link.bit_rate - 1e-4, (run[-1] + 1) / link.bit_rate)
        wrong, moved = reference_bits(link, some, level_at, run, step_s)
        flipped |= set(wrong.tolist())
        toggled |= set(moved.tolist())
        checked.append(run)
    covered = np.concatenate(checked)
    got = set(ours.flipped[np.isin(ours.flipped, covered)].tolist())
    assert len(flipped) >= 3
    # The grid is off by up to 0.5 ns at a crossing, so a bit or two may differ.
    assert len(got ^ flipped) <= 2, sorted(got ^ flipped)
    moved = set(ours.toggled[np.isin(ours.toggled, covered)].tolist())
    assert len(toggled) > 300
    assert len(moved ^ toggled) <= 2, sorted(moved ^ toggled)


def drawn(pieces, times, volts, *, ground):
    total = np.zeros(times.size)
    for piece in pieces:
        if piece.ground == ground:
            since = times - piece.start_s
            weight = piece.weight + piece.per_volt * volts
            wave = since * weight.real if piece.ramp else (weight * np.exp(piece.rate * since)).real
            total += np.where(since >= 0, wave, 0.0)
    return total


@pytest.mark.parametrize("kind", [SparkEvent.BREAKDOWN, SparkEvent.RE_STRIKE])
def test_the_line_answers_a_spark_as_scipys_filters_do(kind):
    engine = Ignition(severity="poor", restrikes_mean=0)
    line = AnalogLine()
    pieces = (spark_pieces if kind == SparkEvent.BREAKDOWN else re_strike_pieces)(engine)
    volts = 14_000.0 if kind == SparkEvent.BREAKDOWN else 4000.0
    times = np.linspace(-4e-3, 6e-3, 200_001)  # 50 ns
    pin, front = line.source_ohm * (line.pin_farad + 1e-12), line.filter_ohm * line.filter_farad
    poles = np.polymul([pin, 1], [front, 1])
    wanted = np.zeros(times.size)
    for ground, top in ((False, [line.source_ohm * 1e-12, 0]), (True, [10e-3])):
        digital = bilinear(top, poles, fs=1 / (times[1] - times[0]))
        wanted += lfilter(*digital, drawn(pieces, times, volts, ground=ground))
    response = line._responses(engine)[kind == SparkEvent.RE_STRIKE]
    ours = response.at(times, np.full(times.size, volts), np.ones(times.size))
    # Steps lie on the grid only to one step of 50 ns, against time constants of 10 and 100 us.
    assert np.abs(wanted).max() > 5e-3
    assert ours == pytest.approx(wanted, abs=1e-2 * np.abs(wanted).max())


def test_secondary_voltage_and_primary_current_have_their_stated_shape():
    engine = Ignition()
    pieces = spark_pieces(engine)
    at = np.array([-3.1e-3, -1.515e-3, -30.001e-6, -29.9e-6, -15e-6, -1e-12, 1e-12, 1e-3, 1.55e-3, 20e-3])
    current = drawn(pieces, at, 15e3, ground=True)
    assert current == pytest.approx([0, 3.5, 7, 0, 0, 0, 0, 0, 0, 0], abs=0.01)
    secondary = drawn(pieces, at, 15e3, ground=False)
    assert secondary[[0, 5, 6, 7]] == pytest.approx([0, 15e3, 600, 600], abs=2)
    assert secondary[4] == pytest.approx(15e3 * math.sin(math.pi / 4), abs=2)
    assert secondary[8] == pytest.approx(1500 * math.exp(-1 / 6) * math.sin(2 * math.pi * 0.25), abs=3)
    assert secondary[9] == pytest.approx(0, abs=1e-3)


def test_overlapping_sparks_add_up():
    engine = Ignition(speed_rpm=6000, cylinders=8, severity="poor")
    line = AnalogLine()
    events = engine.events(0, 0.1, 3)
    times = np.linspace(0.02, 0.06, 997)
    total = np.zeros(times.size)
    for kind, response in zip((SparkEvent.BREAKDOWN, SparkEvent.RE_STRIKE), line._responses(engine), strict=True):
        some = events.only(kind)
        for when, volts, cylinder in zip(some.time_s, some.volts, some.cylinder, strict=True):
            gain = np.full(times.size, engine.gains[cylinder])
            total += response.at(times - when, np.full(times.size, volts), gain)
    assert line.interference_volts(events, times) == pytest.approx(total, abs=1e-6)
