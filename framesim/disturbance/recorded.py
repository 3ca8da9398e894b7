"""A recorded voltage as a cause: read from a file, made ready, and played once or again and again."""

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from framesim.disturbance.can_link import CanLink, LevelAt, LinkHits
from framesim.disturbance.waveform import Waveform
from framesim.disturbance.waveform_file import read_waveform
from framesim.disturbance.waveform_link import recorded_hits
from framesim.errors import BadArgument, BadInput, NotFeasible, check_number, check_range

__all__ = ["RecordedWaveform", "prepared"]

Places = npt.NDArray[np.int64]
#: Tells which stretches of bits, given by their first and one past their last, hold a bit of interest.
Busy = Callable[[Places, Places], npt.NDArray[np.bool_]]


def prepared(
    waveform: Waveform,
    *,
    loss_db: float | None = None,
    low_pass_hz: float | None = None,
    resample_hz: float | None = None,
) -> Waveform:
    """Return a recording as it stands at a comparator: loss first, then low-pass, then another pace.

    Raises:
        BadArgument: a value is out of range.
        NotFeasible: more samples than fit in memory.
    """
    if loss_db is not None:
        check_number("loss_db", loss_db, 0, 120, unit="dB")
        waveform = waveform.scaled(10 ** (-loss_db / 20))
    if low_pass_hz is not None:
        with _said_of("low_pass_hz", "bandwidth_hz"):
            waveform = waveform.low_passed(low_pass_hz)
    if resample_hz is not None:
        with _said_of("resample_hz", "rate_hz"):
            waveform = waveform.resampled(resample_hz)
    return waveform


@contextmanager
def _said_of(own: str, inner: str) -> Iterator[None]:
    """Let a refusal name the argument by which it came in."""
    try:
        yield
    except (BadArgument, NotFeasible) as refusal:
        raise type(refusal)(str(refusal).replace(f"{inner}=", f"{own}=", 1)) from None


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedWaveform:
    """The disturbance between the wires of a pair, as a recording has it; see ``docs/waveforms.md``.

    Attributes:
        file: name of a ``.csv`` or ``.npy`` file.
        rate_hz: samples per second of a ``.npy`` file.
        start_s: time of the first sample; ``None``: the file's, 0 for ``.npy``.
        loss_db: both wires against ground were recorded, and this much is converted; ``None``: it is a difference.
        low_pass_hz: smooth it; ``None``: it stands behind the receiver's low-pass already.
        resample_hz: bring it to this pace; ``None``: its own.
        repeat_s: play it again every so many seconds, from ``start_s`` on and before it; ``None``: once.
        loud_volts: from how many volts on a bit counts as touched.
        folder: where ``file`` lies, unless its name begins at the root.
        waveform: the recording, made ready.

    Raises:
        BadArgument: a value is out of range, or the file cannot be used; the message has its reason.
    """

    file: str
    rate_hz: float | None = None
    start_s: float | None = None
    loss_db: float | None = None
    low_pass_hz: float | None = None
    resample_hz: float | None = None
    repeat_s: float | None = None
    loud_volts: float = 0.05
    folder: str = ""
    waveform: Waveform = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        check_number("loud_volts", self.loud_volts, 0, 1e4, unit="V", open_low=True)
        if self.rate_hz is None and self.file.lower().endswith(".npy"):
            raise BadArgument("rate_hz: missing; a .npy file holds volts only; expected its samples per second")
        try:
            raw = read_waveform(str(Path(self.folder) / self.file), rate_hz=self.rate_hz, start_s=self.start_s)
        except BadInput as refusal:
            raise BadArgument(f"file={self.file!r}: {refusal}") from None
        try:
            ready = prepared(raw, loss_db=self.loss_db, low_pass_hz=self.low_pass_hz, resample_hz=self.resample_hz)
        except NotFeasible as refusal:
            raise BadArgument(str(refusal)) from None
        object.__setattr__(self, "waveform", ready)
        if self.repeat_s is not None:
            check_number("repeat_s", self.repeat_s, 0, 1e6, unit="s", open_low=True)
            if self.repeat_s < self.lasts_s:
                raise BadArgument(
                    f"repeat_s={self.repeat_s:g}: must not be less than the recording's {self.lasts_s:.6g} s"
                )

    @property
    def lasts_s(self) -> float:
        """Seconds from the first sample to the last."""
        return self.waveform.stop_s - self.waveform.start_s

    def played(self, start_s: float, stop_s: float) -> npt.NDArray[np.float64]:
        """Return by how much the recording is late each time it is heard between two times, s, ascending."""
        if self.repeat_s is None:
            here = self.waveform.start_s <= stop_s and self.waveform.stop_s >= start_s
            return np.zeros(1 if here else 0)
        first = np.floor((start_s - self.waveform.stop_s) / self.repeat_s)
        last = np.ceil((stop_s - self.waveform.start_s) / self.repeat_s)
        late = np.arange(first, last + 1) * self.repeat_s
        return np.asarray(late[(late + self.waveform.start_s <= stop_s) & (late + self.waveform.stop_s >= start_s)])

    def over(self, start_s: float, rate_hz: float, n_samples: int) -> Waveform:
        """Return what is heard in a stretch, 0 V where nothing is played, at a pace of choice."""
        times = start_s + np.arange(n_samples) / rate_hz
        volts = np.zeros(n_samples)
        for late_s in self.played(start_s, float(times[-1])).tolist():
            volts += self.waveform.at(times - late_s)
        return Waveform(start_s=start_s, rate_hz=rate_hz, volts=volts)

    def walk(
        self,
        link: CanLink,
        first_bit: int,
        stop_bit: int,
        seed: int,
        level_at: LevelAt,
        *,
        busy: Busy | None = None,
    ) -> LinkHits:
        """Return the hits of bits ``first_bit .. stop_bit - 1``; see ``recorded_hits``.

        Args:
            link: thresholds, levels, bit rate and sample point.
            first_bit: of the stretch.
            stop_bit: one past its last.
            seed: not used, nothing is drawn; other causes' walks take one.
            level_at: tells the sent levels.
            busy: which repetitions to look at; default: all.

        Raises:
            BadArgument: a place is out of range.
            BadInput: the recording does not even hold two bits.
        """
        check_range("first_bit", first_bit, -(1 << 50), 1 << 50, base="d")
        check_range("stop_bit", stop_bit, first_bit, 1 << 50, base="d")
        rate = link.bit_rate
        if self.lasts_s * rate < 2:
            raise BadInput(f"{self.file}: lasts {self.lasts_s:.3g} s; expected at least two bits of {1 / rate:.3g} s")
        late = self.played(first_bit / rate, stop_bit / rate)
        if busy is not None:
            begin = np.floor((self.waveform.start_s + late) * rate).astype(np.int64)
            late = late[busy(begin, begin + int(np.ceil(self.lasts_s * rate)) + 1)]
        found = [LinkHits(*(np.empty(0, np.int64) for _ in range(3)))]
        for late_s in late.tolist():
            hits = recorded_hits(link, self.waveform.shifted(late_s), level_at, loud_volts=self.loud_volts)
            some = (hits.loud, hits.toggled, hits.flipped)
            found.append(LinkHits(*(bits[(bits >= first_bit) & (bits < stop_bit)] for bits in some)))
        return LinkHits(*(np.concatenate(bits) for bits in zip(*found, strict=True)))

    def describe(self) -> dict[str, Any]:
        """Return the file, what was done to it and a fingerprint of the samples, ready for JSON."""
        return {
            "kind": "waveform",
            "file": self.file,
            "samples": int(self.waveform.volts.size),
            "samples_per_second": self.waveform.rate_hz,
            "start_s": self.waveform.start_s,
            "lasts_s": self.lasts_s,
            "peak_volts": float(np.abs(self.waveform.volts).max()),
            "loss_db": self.loss_db,
            "low_pass_hz": self.low_pass_hz,
            "resample_hz": self.resample_hz,
            "repeat_s": self.repeat_s,
            "loud_volts": self.loud_volts,
            "sha256": hashlib.sha256(self.waveform.volts.astype("<f8").tobytes()).hexdigest(),
        }
