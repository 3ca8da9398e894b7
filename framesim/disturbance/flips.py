"""Which bits of which frames were flipped, and what a source of flips must offer."""

from typing import Any, NamedTuple, Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt

from framesim.errors import check_range

__all__ = ["Channel", "Flips", "Matrices"]


#: a channel with few states: (start, step, error); see ``GilbertElliott.matrices``
Matrices = tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.float64]]


class Flips(NamedTuple):
    """Flipped bits of a run of equally long frames, sparse.

    Attributes:
        frame: dtype int64. shape: (n_flips,). Frame numbers, ascending.
        bit: dtype int32. shape: (n_flips,). Bits of that frame on the wire, ascending within a frame, no repeats.
    """

    frame: npt.NDArray[np.int64]
    bit: npt.NDArray[np.int32]

    @classmethod
    def at(cls, places: npt.NDArray[np.int64], n_bits: int) -> "Flips":
        """Split places counted through all frames into frame and bit.

        Args:
            places: dtype int64. shape: (n_flips,). ``frame * n_bits + bit``, strictly ascending.
            n_bits: length of each frame.
        """
        frame = places // n_bits
        return cls(frame, (places - frame * n_bits).astype(np.int32))


@runtime_checkable
class Channel(Protocol):
    """A cause of flips that treats every frame alike: independent frames, each met in the long-run state."""

    def flips(self, n_frames: int, n_bits: int, rng: np.random.Generator) -> Flips:
        """Draw the flips of ``n_frames`` frames of ``n_bits`` bits each.

        Raises:
            BadArgument: a size is not an int or out of range.
        """
        ...

    def describe(self) -> dict[str, Any]:
        """Return the kind and the parameters, ready for JSON."""
        ...


def check_sizes(n_frames: int, n_bits: int) -> None:
    """Raise unless the sizes fit ``Flips`` and their product fits comfortably into 64 bits.

    Raises:
        BadArgument: not an int, or out of range.
    """
    check_range("n_frames", n_frames, 0, 1 << 40, base="d")
    check_range("n_bits", n_bits, 1, 1 << 20, base="d")
