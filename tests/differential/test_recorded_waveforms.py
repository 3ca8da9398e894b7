"""Recorded waveforms: the comparator against a plain loop, the low-pass against scipy, files against what went in."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lsim

from framesim.disturbance import CanLink, Ignition
from framesim.disturbance.waveform import Waveform
from framesim.disturbance.waveform_file import read_waveform, write_waveform
from framesim.disturbance.waveform_link import recorded_hits
from framesim.errors import BadArgument, BadInput, NotFeasible


def levels(bits):
    return ((bits * 2654435761 >> 16) & 1).astype(np.uint8)


def slow_hits(link, wave):
    """Walk bit by bit and, inside a bit, from moment to moment; nothing vectorised, nothing shared."""
    first = int(np.ceil(wave.start_s * link.bit_rate - 1e-6))
    stop = int(np.floor(wave.stop_s * link.bit_rate + 1e-6))
    times = [wave.start_s + number / wave.rate_hz for number in range(wave.volts.size)]
    state, toggled, flipped, here = int(levels(np.array([first - 1]))[0]), [], [], 0
    for bit in range(first, stop):
        level = int(levels(np.array([bit]))[0])
        before = int(levels(np.array([bit - 1]))[0])
        begin, sample, end = bit / link.bit_rate, (bit + link.sample_point) / link.bit_rate, (bit + 1) / link.bit_rate
        while here < len(times) and times[here] < begin:
            here += 1
        inside, ahead = [], here
        while ahead < len(times) and times[ahead] < end:
            inside.append(times[ahead])
            ahead += 1
        off = False
        moments = [(begin, before, "end"), (begin, level, "own")]
        moments += sorted([(at, level, "own") for at in inside] + [(sample, level, "sample")], key=lambda each: each[0])
        for at, sent, kind in moments:
            total = float(wave.at(np.array([at]))[0]) + (0.0 if sent else link.dominant_volts)
            state = 0 if total >= link.upper_volts else 1 if total <= link.lower_volts else state
            off = off or (kind != "end" and state != level)
            if kind == "end" and state != sent and bit > first and bit - 1 not in toggled:
                toggled.append(bit - 1)
            if kind == "sample" and state != level:
                flipped.append(bit)
        if off:
            toggled.append(bit)
    return first, stop, sorted(toggled), flipped


waves = st.builds(
    lambda start, rate, seed, size, high, smooth: Waveform(
        start_s=start,
        rate_hz=rate,
        volts=np.convolve(np.random.default_rng(seed).normal(0, high, size), np.ones(smooth), "same"),
    ),
    start=st.floats(-1e-3, 1e-3),
    rate=st.sampled_from([1.3e6, 5e6, 20e6]),
    seed=st.integers(0, 999),
    size=st.integers(400, 1000),
    high=st.floats(0, 2),
    smooth=st.integers(1, 9),
)
links = st.builds(CanLink, bit_rate=st.sampled_from([125_000, 500_000, 800_000]), sample_point=st.floats(0.3, 0.95))


@settings(deadline=None, max_examples=40)
@given(wave=waves, link=links)
def test_the_fast_comparator_equals_a_plain_loop(wave, link):
    hits = recorded_hits(link, wave, levels)
    first, stop, toggled, flipped = slow_hits(link, wave)
    assert (hits.first_bit, hits.stop_bit) == (first, stop)
    assert hits.flipped.tolist() == flipped
    assert hits.toggled.tolist() == toggled


@settings(deadline=None, max_examples=20)
@given(wave=waves, link=links)
def test_cutting_the_work_into_pieces_changes_nothing(wave, link):
    from framesim.disturbance import waveform_link

    whole = recorded_hits(link, wave, levels)
    usual = waveform_link._BITS_AT_ONCE_SAMPLES
    try:
        waveform_link._BITS_AT_ONCE_SAMPLES = 64
        pieces = recorded_hits(link, wave, levels)
    finally:
        waveform_link._BITS_AT_ONCE_SAMPLES = usual
    for one, other in zip(whole, pieces, strict=True):
        assert np.array_equal(one, other)


@settings(deadline=None, max_examples=30)
@given(wave=waves, link=links)
def test_nothing_flips_where_no_peak_reaches_a_threshold(wave, link):
    peak = np.abs(wave.volts).max()
    quiet = wave.scaled(0.999 * link.lower_volts / peak) if peak >= link.lower_volts else wave
    hits = recorded_hits(link, quiet, levels)
    assert hits.flipped.size == hits.toggled.size == 0


@settings(deadline=None, max_examples=20)
@given(wave=waves, ratio=st.integers(2, 6))
def test_a_finer_pace_with_straight_lines_between_gives_the_same_bits(wave, ratio):
    link = CanLink()
    fine = wave.resampled(wave.rate_hz * ratio)
    one, other = recorded_hits(link, wave, levels), recorded_hits(link, fine, levels)
    until = min(one.stop_bit, other.stop_bit)
    # a rounding in the last digit may move a sample across a threshold, nothing else
    assert np.setxor1d(one.flipped[one.flipped < until], other.flipped[other.flipped < until]).size <= 1


@pytest.mark.parametrize("bandwidth", [1e3, 1e6, 10e6, 500e6])
def test_the_low_pass_equals_scipys(bandwidth):
    rng = np.random.default_rng(5)
    wave = Waveform(start_s=0.0, rate_hz=50e6, volts=np.cumsum(rng.normal(size=5000)) * 0.1 + 3)
    corner = 2 * np.pi * bandwidth
    state = np.array([wave.volts[0]])
    wanted = lsim(([-corner], [corner], [1.0], [0.0]), wave.volts, wave.times_s, X0=state)[1]
    assert wave.low_passed(bandwidth).volts == pytest.approx(wanted, abs=1e-9 * np.abs(wave.volts).max() + 1e-9)


def test_samples_of_the_engine_are_the_closed_form():
    link, engine = CanLink(conversion_loss_db=20), Ignition(severity="fault")
    rings = link.rings(engine.events(-0.001, 0.02, 4))
    wave = Waveform.of(rings, start_s=0.0, rate_hz=50e6, n_samples=1_000_000)
    for number in np.random.default_rng(1).integers(0, 1_000_000, 50).tolist():
        at = number / 50e6
        wanted = sum(
            (gain * (np.exp(pole * (at - start)) - np.exp(-rings.corner * (at - start)))).real
            for start, gain, pole in zip(rings.start_s, rings.gain, rings.pole, strict=True)
            if start <= at
        )
        assert wave.volts[number] == pytest.approx(wanted, abs=1e-5)


@settings(deadline=None, max_examples=25)
@given(
    volts=st.lists(st.floats(-9000, 9000), min_size=2, max_size=50),
    start=st.floats(-100, 100),
    rate=st.sampled_from([1e5, 1e6, 4e7]),
    unit=st.sampled_from([("time_s", 1.0), ("time_ms", 1e3), ("time_us", 1e6), ("time_ns", 1e9)]),
)
def test_what_is_written_is_read_back(volts, start, rate, unit, tmp_path_factory):
    folder = tmp_path_factory.mktemp("waves")
    wave = Waveform(start_s=start, rate_hz=rate, volts=np.array(volts, np.float64))
    write_waveform(str(folder / "a.npy"), wave)
    back = read_waveform(str(folder / "a.npy"), rate_hz=rate, start_s=start)
    assert np.array_equal(back.volts, wave.volts)
    assert (back.start_s, back.rate_hz) == (start, rate)
    write_waveform(str(folder / "a.csv"), wave, note="made up\ntwice")
    back = read_waveform(str(folder / "a.csv"))
    assert back.volts == pytest.approx(wave.volts, rel=1e-8)
    assert back.rate_hz == pytest.approx(rate, rel=1e-6)
    assert back.start_s == pytest.approx(start, rel=1e-12, abs=1e-12)
    rows = "".join(f"{at * unit[1]!r},{volt * 1e3!r}\n" for at, volt in zip(wave.times_s.tolist(), volts, strict=True))
    (folder / "b.csv").write_text(f"{unit[0]},millivolts\n{rows}")
    other = read_waveform(str(folder / "b.csv"))
    assert other.volts == pytest.approx(wave.volts, rel=1e-12)
    assert other.rate_hz == pytest.approx(rate, rel=1e-6)


def test_an_uneven_pace_without_a_gap_is_made_even(tmp_path):
    rng = np.random.default_rng(2)
    times = np.sort(np.arange(2000) + rng.uniform(-0.2, 0.2, 2000)) * 1e-8
    rows = "".join(f"{at:.15g},{np.sin(at * 2e6):.12g}\n" for at in times)
    (tmp_path / "a.csv").write_text(f"time_s,volts\n{rows}")
    wave = read_waveform(str(tmp_path / "a.csv"))
    assert wave.rate_hz == pytest.approx(1e8, rel=0.01)
    assert wave.volts == pytest.approx(np.sin(wave.times_s * 2e6), abs=1e-4)
    assert wave.stop_s == pytest.approx(times[-1], abs=2e-8)


def test_times_rounded_to_the_nanosecond_do_not_make_an_uneven_pace(tmp_path):
    rows = "".join(f"{round(number * 6.4)},{number % 7}\n" for number in range(500))
    (tmp_path / "a.csv").write_text(f"time_ns,volts\n{rows}")
    wave = read_waveform(str(tmp_path / "a.csv"))
    assert wave.rate_hz == pytest.approx(1 / 6.4e-9, rel=0.1)


@settings(deadline=None, max_examples=80)
@given(content=st.binary(max_size=300), name=st.sampled_from(["a.csv", "a.npy"]), head=st.booleans())
def test_junk_is_refused_in_one_line_or_read(content, name, head, tmp_path_factory):
    folder = tmp_path_factory.mktemp("junk")
    start = (b"time_s,volts\n" if name == "a.csv" else b"\x93NUMPY\x01\x00") if head else b""
    (folder / name).write_bytes(start + content)
    said = ""
    try:
        wave = read_waveform(str(folder / name), rate_hz=1e6 if name == "a.npy" else None)
    except BadInput as refusal:
        said = str(refusal)
    assert "\n" not in said
    assert said.startswith(str(folder / name)) if said else np.isfinite(wave.volts).all()


@pytest.mark.parametrize(
    ("build", "kind", "words"),
    [
        (lambda: Waveform(start_s=0.0, rate_hz=1e6, volts=np.zeros((3, 3))), BadArgument, "volts: expected an array"),
        (lambda: Waveform(start_s=0.0, rate_hz=1e6, volts=np.zeros(3, int)), BadArgument, "volts: expected an array"),
        (lambda: Waveform(start_s=0.0, rate_hz=1e6, volts=np.zeros(1)), BadArgument, "len(volts)=1"),
        (lambda: Waveform(start_s=0.0, rate_hz=1.0, volts=np.zeros(3)), BadArgument, "rate_hz=1.0"),
        (lambda: Waveform(start_s=0.0, rate_hz=1e6, volts=np.array([0, np.nan])), BadArgument, "volts[1]=nan"),
        (lambda: Waveform(start_s=0.0, rate_hz=1e6, volts=np.zeros(99999)).resampled(1e12), NotFeasible, "rate_hz"),
        (lambda: Waveform(start_s=0.0, rate_hz=1e6, volts=np.zeros(9)).low_passed(0), BadArgument, "bandwidth_hz=0"),
        (lambda: read_waveform("/tmp/none.csv", rate_hz=1e6), BadInput, "/tmp/none.csv: the times in a .csv file"),
    ],
)
def test_a_wrong_argument_is_named(build, kind, words):
    with pytest.raises(kind) as caught:
        build()
    assert str(caught.value).startswith(words)
