"""Converter codes of a run of samples, and what the unit noticed about each."""

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

__all__ = ["AnalogSamples", "Codes"]

Codes = npt.NDArray[np.int32]


class AnalogSamples(NamedTuple):
    """Converter codes of a run of samples.

    Attributes:
        clean: dtype int32. shape: (n_samples,). The code of the undisturbed voltage.
        seen: dtype int32. shape: (n_samples,). The code that the unit got.
        implausible: dtype bool. shape: (n_samples,). The unit's range check speaks, on either track.
        deviating: dtype bool. shape: (n_samples,). The two tracks differ by more than the tolerance; never, with one.
        times_s: dtype float64. shape: (n_samples,). When the newest reading of each sample was taken.
    """

    clean: Codes
    seen: Codes
    implausible: npt.NDArray[np.bool_]
    deviating: npt.NDArray[np.bool_]
    times_s: npt.NDArray[np.float64]

    @property
    def errors_lsb(self) -> Codes:
        """Seen minus clean, in steps of the converter. shape: (n_samples,)."""
        return self.seen - self.clean

    @property
    def noticed(self) -> npt.NDArray[np.bool_]:
        """Whether any check speaks. shape: (n_samples,)."""
        return self.implausible | self.deviating

    def off(self, steps: int) -> npt.NDArray[np.bool_]:
        """Tell which samples are off by so many steps or more. shape: (n_samples,)."""
        return np.abs(self.errors_lsb) >= steps

    def wrong(self, steps: int) -> int:
        """Return how many samples are off by so many steps or more."""
        return int(np.count_nonzero(self.off(steps)))

    def silent(self, steps: int) -> int:
        """Return how many samples are off by so many steps or more without a check speaking."""
        return int(np.count_nonzero(self.off(steps) & ~self.noticed))

    def summary(self, steps: tuple[int, ...] = (2, 5, 10)) -> dict[str, Any]:
        """Return counts, ready for JSON: samples, wrong and silently wrong ones by steps, the largest error.

        The counts are of this run only; samples near one spark depend on each other, so an interval for a rate must
        count sparks, not samples.
        """
        return {
            "samples": int(self.seen.size),
            "wrong": {str(number): self.wrong(number) for number in steps},
            "silent": {str(number): self.silent(number) for number in steps},
            "largest_lsb": int(np.abs(self.errors_lsb).max(initial=0)),
        }
