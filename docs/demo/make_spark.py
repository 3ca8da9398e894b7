"""Makes ``spark.csv`` beside this file: invented demonstration data, no vehicle was measured.

A breakdown next to a cracked ignition lead, as it stands at the comparator of a CAN receiver: the built-in scenario's
engine and link, severity ``fault``. The seed is the first whose first breakdown flips a bit of the frame used in
``docs/waveforms.md``, 500 kbit/s. Run it from anywhere: ``python docs/demo/make_spark.py``.
"""

import dataclasses
from pathlib import Path

from framesim.coverage.recording import FrameStream, caused_hits, record_cause
from framesim.coverage.scenario import load_scenario
from framesim.disturbance.waveform_file import write_waveform
from framesim.networks.can import CanFrame

FRAME = CanFrame(identifier=0x1A4, payload=bytes.fromhex("9F3C07"))
SECONDS, RATE = 24e-6, 100e6


def main() -> None:
    """Find the seed and write the file."""
    built_in = dataclasses.replace(load_scenario(None), severities=("fault",))
    for seed in range(1, 1000):
        scenario = dataclasses.replace(built_in, seed=seed)
        waveform = record_cause(scenario, seconds=SECONDS, rate_hz=RATE)
        first = round(waveform.start_s * scenario.link.bit_rate)
        stop = first + round(SECONDS * scenario.link.bit_rate)
        if caused_hits(scenario, FrameStream.of(FRAME, first), first, stop).flipped.size == 1:
            break
    note = f"Invented demonstration data, no vehicle was measured: made by make_spark.py, seed {seed}.\n"
    note += "Ignition, fault, at a CAN receiver's comparator, between the wires, behind its low-pass."
    write_waveform(str(Path(__file__).with_name("spark.csv")), waveform, note=note)


main()
