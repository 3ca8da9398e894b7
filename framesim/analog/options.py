"""What a unit may do beyond a range check: a second track, a median filter, readings in step with the crank."""

import dataclasses
from typing import TYPE_CHECKING, Any, get_args

from framesim.analog.second_track import SecondTrack
from framesim.errors import BadArgument, check_number, check_range

if TYPE_CHECKING:
    from framesim.analog.line import AnalogLine

__all__ = ["GUESSED", "MOST_READINGS", "check_options", "described_options", "usual_options"]

MOST_READINGS = 31
#: options that are estimates
GUESSED = ("second_coupling", "second_ground", "second_delay_s")
_OF_TRACKS = (*GUESSED, "tolerance_volts")
_ALL = ("second_track", *_OF_TRACKS, "median_readings", "median_every_s", "crank_angle_deg")


def usual_options() -> dict[str, Any]:
    """Return every option with the value that switches it off or leaves it as it is."""
    from framesim.analog.line import AnalogLine

    return {field.name: field.default for field in dataclasses.fields(AnalogLine) if field.name in _ALL}


def check_options(line: "AnalogLine") -> None:
    """Raise unless a line's options are in range and each does something.

    Raises:
        BadArgument: one is out of range, or does nothing beside the others.
    """
    tracks = get_args(SecondTrack)
    if line.second_track not in tracks:
        raise BadArgument(f"second_track={line.second_track!r}: must be one of {', '.join(tracks)}")
    check_number("second_coupling", line.second_coupling, 0, 10)
    check_number("second_ground", line.second_ground, 0, 1)
    check_number("second_delay_s", line.second_delay_s, 0, 1e-2, unit="s")
    check_number("tolerance_volts", line.tolerance_volts, 0, 100, unit="V")
    check_range("median_readings", line.median_readings, 1, MOST_READINGS, base="d")
    if line.median_readings % 2 == 0:
        raise BadArgument(f"median_readings={line.median_readings}: must be odd, so that one reading is in the middle")
    check_number("median_every_s", line.median_every_s, 1e-6, 1, unit="s")
    if line.crank_angle_deg is not None:
        check_number("crank_angle_deg", line.crank_angle_deg, -720, 720, unit="degrees")
    usual = {field.name: field.default for field in dataclasses.fields(line)}
    for name in _OF_TRACKS:
        if line.second_track == "none" and getattr(line, name) != usual[name]:
            raise BadArgument(f"{name}={getattr(line, name):g}: does nothing without a second_track")
    if line.median_every_s != usual["median_every_s"]:
        if line.median_readings == 1:
            raise BadArgument(f"median_every_s={line.median_every_s:g}: does nothing with median_readings=1")
        if line.crank_angle_deg is not None:
            raise BadArgument(f"median_every_s={line.median_every_s:g}: does nothing beside crank_angle_deg")


def described_options(line: "AnalogLine") -> dict[str, Any]:
    """Return the parameters of what is switched on, ready for JSON."""
    told: dict[str, Any] = {}
    if line.second_track != "none":
        told |= {name: getattr(line, name) for name in ("second_track", *_OF_TRACKS)}
    if line.median_readings > 1:
        told["median_readings"] = line.median_readings
        if line.crank_angle_deg is None:
            told["median_every_s"] = line.median_every_s
    if line.crank_angle_deg is not None:
        told["crank_angle_deg"] = line.crank_angle_deg
    return told
