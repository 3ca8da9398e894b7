"""Where a recorded voltage begins and ends, worked out by hand."""

import numpy as np
import pytest

from framesim.disturbance import CanLink, waveform_link
from framesim.disturbance.waveform import Waveform
from framesim.disturbance.waveform_file import read_waveform
from framesim.errors import BadInput

RATE = 1e6
WAVE = Waveform(start_s=1e-3, rate_hz=RATE, volts=np.array([1.0, 2.0, 4.0]))


@pytest.mark.parametrize(
    ("samples_on", "volts"),
    [
        (-1.0, 0.0),
        (-0.5, 0.0),
        (-0.001, 0.0),
        (0.0, 1.0),
        (0.5, 1.5),
        (1.75, 3.5),
        (2.0, 4.0),
        (2.001, 0.0),
        (2.5, 0.0),
    ],
)
def test_outside_a_recording_there_is_no_voltage_and_inside_it_runs_straight(samples_on, volts):
    found = WAVE.at(np.array([WAVE.start_s + samples_on / RATE]))
    assert found.tolist() == pytest.approx([volts], abs=1e-6)


def test_another_pace_keeps_the_first_sample_and_the_last():
    fine = WAVE.resampled(4 * RATE)
    assert fine.volts == pytest.approx([1, 1.25, 1.5, 1.75, 2, 2.5, 3, 3.5, 4])
    assert (fine.start_s, fine.stop_s) == (WAVE.start_s, pytest.approx(WAVE.stop_s))
    assert WAVE.resampled(RATE / 2).volts == pytest.approx([1, 4])


def test_a_start_that_is_given_is_that_of_a_csv_file_too(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("time_us,volts\n5,1\n6,2\n7,1\n")
    assert read_waveform(str(path)).start_s == pytest.approx(5e-6)
    moved = read_waveform(str(path), start_s=-0.25)
    assert moved.start_s == -0.25
    assert moved.rate_hz == pytest.approx(RATE)
    assert moved.volts.tolist() == [1, 2, 1]
    assert read_waveform(str(path), start_s=0.0).start_s == 0.0


def test_a_number_as_only_programs_write_it_is_refused_with_its_line(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("time_s,volts\n0,1\n1_0e-9,2\n2e-8,1\n")
    with pytest.raises(BadInput) as caught:
        read_waveform(str(path))
    assert "line 3: '1_0e-9,2': expected two numbers" in str(caught.value)


LINK = CanLink(bit_rate=500_000, sample_point=0.875, upper_volts=0.75, lower_volts=0.65)


def hits_of_recessive_bits(volts, monkeypatch, *, start_s=0.0, rate_hz=8e6):
    """The hits of a recording beside recessive bits: worked off whole, and bit by bit."""
    wave = Waveform(start_s=start_s, rate_hz=rate_hz, volts=np.array(volts))
    found = []
    for samples in (1 << 20, 1):
        monkeypatch.setattr(waveform_link, "_BITS_AT_ONCE_SAMPLES", samples)
        hits = waveform_link.recorded_hits(LINK, wave, lambda bits: np.ones(bits.size, np.uint8))
        found.append({name: getattr(hits, name).tolist() for name in ("toggled", "flipped", "loud")})
    assert found[0] == found[1]
    return found[0]


def test_a_pulse_behind_the_sample_is_held_by_the_hysteresis_into_the_next_bit(monkeypatch):
    # 16 samples a bit; the receiver looks at sample 14. Sample 15 of bit 2 is dominant, bit 3 stays between the
    # thresholds.
    volts = np.zeros(6 * 16)
    volts[2 * 16 + 15] = 1.0
    volts[3 * 16 : 4 * 16] = 0.7
    found = hits_of_recessive_bits(volts, monkeypatch)
    assert found["flipped"] == [3]
    assert found["toggled"] == [2, 3]
    assert found["loud"] == [2, 3]


def test_a_voltage_that_passes_the_threshold_at_the_very_end_of_a_bit_toggles_that_bit(monkeypatch):
    # Samples stand at 7.5 and 8.5 us, bit 4 begins at 8 us: there the voltage passes 1 V, on the way from 0 V to 2 V.
    volts = [0.0] * 9 + [2.0] + [0.0] * 6
    found = hits_of_recessive_bits(volts, monkeypatch, start_s=-0.5e-6, rate_hz=1e6)
    assert found["toggled"] == [3, 4]
    assert found["flipped"] == []


def test_a_negative_voltage_is_as_loud_as_a_positive_one(monkeypatch):
    volts = np.zeros(4 * 16)
    volts[16 + 8] = -0.3
    assert hits_of_recessive_bits(volts, monkeypatch)["loud"] == [1]


def test_a_recording_that_begins_between_the_thresholds_finds_the_comparator_at_the_sent_level():
    # Dominant bits of 2 V under -1.3 V: 0.7 V lies between the thresholds, so the comparator stays where it was.
    volts = np.full(4 * 16, -1.3)
    wave = Waveform(start_s=0.0, rate_hz=8e6, volts=volts)
    hits = waveform_link.recorded_hits(LINK, wave, lambda bits: np.zeros(bits.size, np.uint8))
    assert hits.toggled.size == hits.flipped.size == 0
    hits = waveform_link.recorded_hits(LINK, wave, lambda bits: (bits < 0).astype(np.uint8))
    assert hits.flipped.tolist() == [0, 1, 2]  # recessive before: then it stays recessive, until the recording ends
