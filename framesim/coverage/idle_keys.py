"""Keys of a scenario file that would do nothing under its disturbance: refused, so that nobody relies on them."""

from collections.abc import Mapping
from typing import Any

from framesim.disturbance import CanLink, Ignition, PulseTrain, RecordedWaveform
from framesim.errors import BadInput

__all__ = ["LINK_OF_A_RECORDING", "refuse_idle_keys"]

#: keys of [link] that a recording asks for; the others speak of how interference gets there.
LINK_OF_A_RECORDING = ("bit_rate", "sample_point", "dominant_volts", "upper_volts", "lower_volts")


def refuse_idle_keys(table: Mapping[str, Any], disturbance: Any, file: str) -> None:
    """Raise at a key that would do nothing under this disturbance.

    Raises:
        BadInput: there is one; the message names file and key.
    """
    if isinstance(disturbance, Ignition):
        if "frames" in table:
            raise BadInput(f"{file}: frames: does nothing under an engine; say hours")
        return
    if isinstance(disturbance, PulseTrain | RecordedWaveform):
        what = "a pulse train" if isinstance(disturbance, PulseTrain) else "a recorded waveform"
        for key in ("frames", "severities", "analog", "wrong_from_lsb", "links", "receivers"):
            if table.get(key):
                raise BadInput(f"{file}: {key}: does nothing under {what}, which reaches the frame's link alone")
        if isinstance(disturbance, RecordedWaveform):
            _refuse_beside_a_recording(table, disturbance, file)
        return
    for key in ("hours", "severities", "analog", "wrong_from_lsb", "links", "receivers"):
        if table.get(key):
            raise BadInput(f"{file}: {key}: does nothing without an engine; leave it out")
    for key in table.get("link", {}) if isinstance(table.get("link"), dict) else ():
        if key != "bit_rate":
            raise BadInput(f"{file}: link.{key}: does nothing without an engine; leave it out")


def _refuse_beside_a_recording(table: Mapping[str, Any], disturbance: RecordedWaveform, file: str) -> None:
    if "hours" in table and disturbance.repeat_s is None:
        raise BadInput(f"{file}: hours: does nothing, the recording is played once; leave it out, or say repeat_s")
    for key in table.get("link", {}) if isinstance(table.get("link"), dict) else ():
        if key in CanLink.__dataclass_fields__ and key not in LINK_OF_A_RECORDING:
            raise BadInput(
                f"{file}: link.{key}: does nothing under a recorded waveform, the voltage at the comparator; expected "
                f"one of {', '.join(LINK_OF_A_RECORDING)}"
            )
