"""Waveforms as files: comma-separated time and volts, or a NumPy array with a sample rate."""

import io
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt

from framesim.disturbance.waveform import MOST_SAMPLES, MOST_VOLTS, Waveform
from framesim.errors import BadArgument, BadInput, NotFeasible

__all__ = ["HEADER", "read_waveform", "write_waveform"]

Floats = npt.NDArray[np.float64]

TIME_UNITS = {"time_s": 1.0, "time_ms": 1e-3, "time_us": 1e-6, "time_ns": 1e-9}
VOLT_UNITS = {"volts": 1.0, "millivolts": 1e-3}
HEADER = "time_s,volts"
MOST_BYTES = 400_000_000  # of text
SLOWEST, FASTEST = 1e3, 1e12  # samples per second
_GAP = 1.5  # steps: a longer one lacks a sample
_EVEN = 0.02  # steps that differ by less come from rounded times
_SHOWN = 40


def read_waveform(path: str, *, rate_hz: float | None = None, start_s: float | None = None) -> Waveform:
    """Return the waveform that a file holds.

    A ``.csv`` file has a first line that names its two columns with their units: ``time_s``, ``time_ms``, ``time_us``
    or ``time_ns``, then ``volts`` or ``millivolts``; lines before it that begin with ``#`` are comments. Times ascend.
    Uneven steps without a gap are brought to an even pace, straight between samples. A ``.npy`` file holds volts, one
    dimension, and needs the rate.

    Args:
        path: of the file.
        rate_hz: samples per second of a ``.npy`` file.
        start_s: time of the first sample; default: that of the file, and 0 for ``.npy``.

    Raises:
        BadInput: no such file, another format, no header, an unknown unit, a gap, times that do not ascend, something
            that is not a finite number, fewer than two samples, or a sample rate where none belongs or none is given.
    """
    place = Path(path)
    if "\0" in path:
        raise BadInput(f"{path!r}: no file's name holds a zero byte")
    suffix = place.suffix.lower()
    try:
        if place.is_dir():
            raise BadInput(f"{path}: is a directory; expected a waveform, .csv or .npy")
        if suffix not in (".csv", ".npy"):
            raise BadInput(f"{path}: expected a name that ends in .csv (time and volts) or .npy (volts)")
        if suffix == ".npy":
            if rate_hz is None:
                raise BadInput(f"{path}: a .npy file holds volts only; give its sample rate in samples per second")
            start, rate, volts = start_s or 0.0, rate_hz, _array(path)
        else:
            if rate_hz is not None:
                raise BadInput(f"{path}: the times in a .csv file give the sample rate; leave it out")
            start, rate, volts = _table(path)
            start = start if start_s is None else start_s
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror or error})") from None
    try:
        return Waveform(start_s=start, rate_hz=rate, volts=volts)
    except (BadArgument, NotFeasible) as refusal:
        raise BadInput(f"{path}: {refusal}") from None


def write_waveform(path: str, waveform: Waveform, *, note: str = "") -> None:
    """Write a waveform: comma-separated if the name ends in ``.csv``, a NumPy array if it ends in ``.npy``.

    Args:
        path: of the file; overwritten if there is one.
        waveform: what to write.
        note: where the data come from; a comment line in a ``.csv`` file.

    Raises:
        BadInput: another ending, or the file cannot be written.
    """
    suffix = Path(path).suffix.lower()
    if suffix not in (".csv", ".npy"):
        raise BadInput(f"{path}: expected a name that ends in .csv (time and volts) or .npy (volts)")
    try:
        if suffix == ".npy":
            with Path(path).open("wb") as file:
                np.save(file, waveform.volts, allow_pickle=False)
            return
        with Path(path).open("w", encoding="utf-8", newline="\n") as text:
            for line in note.splitlines():
                text.write(f"# {line}\n")
            text.write(f"{HEADER}\n")
            pairs = zip(waveform.times_s.tolist(), waveform.volts.tolist(), strict=True)
            text.writelines(f"{time:.15g},{volts:.9g}\n" for time, volts in pairs)
    except OSError as error:
        raise BadInput(f"{path}: cannot be written ({error.strerror or error})") from None


def _array(path: str) -> Floats:
    """Return the volts of a ``.npy`` file."""
    from numpy.lib import format as npy

    read_header = {(1, 0): npy.read_array_header_1_0, (2, 0): npy.read_array_header_2_0}
    junk = BadInput(f"{path}: no NumPy array of numbers; expected volts, as numpy.save writes them")
    with Path(path).open("rb") as file:
        try:
            shape, _, dtype = read_header[npy.read_magic(file)](file)
        except (ValueError, EOFError, SyntaxError, TypeError, KeyError, UnicodeDecodeError):
            raise junk from None
        if len(shape) != 1 or dtype.kind not in "fiu":
            raise BadInput(f"{path}: shape {shape}, {dtype}; expected one dimension of real numbers, volts")
        if shape[0] > MOST_SAMPLES:
            raise BadInput(f"{path}: {shape[0]:,} samples; at most {MOST_SAMPLES:,} fit")
        file.seek(0)
        try:
            found = npy.read_array(file, allow_pickle=False)
        except (ValueError, EOFError):
            raise junk from None
    volts = np.asarray(found, np.float64)
    _check_volts(path, volts, lambda place: f"sample {place}")
    return volts


def _table(path: str) -> tuple[float, float, Floats]:
    """Return start, rate and volts of a ``.csv`` file."""
    if Path(path).stat().st_size > MOST_BYTES:
        raise BadInput(f"{path}: larger than {MOST_BYTES:,} bytes; expected a shorter recording, or .npy")
    try:
        text = Path(path).read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput(f"{path}: not text in UTF-8; expected lines of time and volts") from None
    lines = text.splitlines()
    first = 0
    while first < len(lines) and (lines[first].startswith("#") or not lines[first].strip()):
        first += 1
    if first == len(lines):
        raise BadInput(f"{path}: empty; expected a line {HEADER!r}, then lines of time and volts")
    time_unit, volt_unit = _units(path, first + 1, lines[first])
    rows = _numbers(path, lines, first + 1)
    if len(rows) < 2:
        raise BadInput(f"{path}: {len(rows)} samples; expected two or more")

    def where(place: int) -> str:
        return f"line {_line_of(lines, first + 1, place)}"

    wrong = np.flatnonzero(~np.isfinite(rows[:, 0]))
    if wrong.size:
        raise BadInput(f"{path}: {where(int(wrong[0]))}: time {rows[wrong[0], 0]} is not a finite number")
    times, volts = rows[:, 0] * time_unit, rows[:, 1] * volt_unit
    _check_volts(path, volts, where)
    return _even(path, times, volts, where)


def _units(path: str, number: int, line: str) -> tuple[float, float]:
    names = [name.strip() for name in line.split(",")]
    if len(names) == 2 and names[0] in TIME_UNITS and names[1] in VOLT_UNITS:
        return TIME_UNITS[names[0]], VOLT_UNITS[names[1]]
    shown = line if len(line) <= _SHOWN else f"{line[:_SHOWN]}..."
    raise BadInput(
        f"{path}: line {number}: {shown!r} does not name the units; expected {' or '.join(TIME_UNITS)}, a comma, and "
        f"{' or '.join(VOLT_UNITS)}"
    )


def _numbers(path: str, lines: list[str], first: int) -> Floats:
    """Return the two columns; shape (n, 2)."""
    body = lines[first:]
    if not any(line.strip() for line in body):
        return np.empty((0, 2))
    try:
        rows = np.loadtxt(io.StringIO("\n".join(body)), delimiter=",", ndmin=2, comments=None, dtype=np.float64)
        if rows.shape[1] == 2:
            return np.asarray(rows)
    except (ValueError, IndexError):
        pass
    for number, line in enumerate(body, first + 1):
        parts = line.split(",")
        if line.strip() and not (len(parts) == 2 and all(_is_number(part) for part in parts)):
            shown = line if len(line) <= _SHOWN else f"{line[:_SHOWN]}..."
            raise BadInput(f"{path}: line {number}: {shown!r}: expected two numbers, time and volts, with a comma")
    raise BadInput(f"{path}: expected two numbers in each line, time and volts, with a comma")


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return "_" not in text


def _line_of(lines: list[str], first: int, place: int) -> int:
    """Return the number, from 1, of the line that holds a sample."""
    filled = (number for number, line in enumerate(lines[first:], first + 1) if line.strip())
    return next(number for count, number in enumerate(filled) if count == place)


def _check_volts(path: str, volts: Floats, where: Callable[[int], str]) -> None:
    wrong = np.flatnonzero(~(np.abs(volts) <= MOST_VOLTS))
    if wrong.size:
        value, place = float(volts[wrong[0]]), where(int(wrong[0]))
        if math.isfinite(value):
            raise BadInput(f"{path}: {place}: {value:g} V is more than {MOST_VOLTS:g} V; are these volts?")
        raise BadInput(f"{path}: {place}: {value} is not a finite number of volts")


def _even(path: str, times: Floats, volts: Floats, where: Callable[[int], str]) -> tuple[float, float, Floats]:
    """Check the times and return start, rate and volts at an even pace."""
    steps = np.diff(times)
    back = np.flatnonzero(steps <= 0)
    if back.size:
        place = int(back[0]) + 1
        raise BadInput(
            f"{path}: {where(place)}: time {times[place]:.12g} s does not ascend from {times[place - 1]:.12g} s"
        )
    usual = float(np.median(steps))
    gaps = np.flatnonzero(steps > _GAP * usual)
    if gaps.size:
        place = int(gaps[0]) + 1
        raise BadInput(
            f"{path}: {where(place)}: a gap of {steps[place - 1]:.4g} s, where samples stand {usual:.4g} s apart; "
            "expected a recording without gaps"
        )
    rate = float(f"{(times.size - 1) / (times[-1] - times[0]):.9g}")  # a rate is a round number, times are rounded
    if not SLOWEST <= rate <= FASTEST:
        raise BadInput(
            f"{path}: {rate:.4g} samples per second; expected {SLOWEST:g} to {FASTEST:g}; are the times in the unit "
            "that the first line names?"
        )
    start = float(times[0])
    if np.abs(steps - usual).max() <= _EVEN * usual:
        return start, rate, np.ascontiguousarray(volts)
    count = int((times[-1] - times[0]) / usual * (1 + 1e-9)) + 1
    return start, 1 / usual, np.interp(start + usual * np.arange(count), times, volts)
