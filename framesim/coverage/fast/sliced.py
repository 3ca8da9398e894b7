"""The fast road: bit-sliced receivers, 64 a machine word, made from the network's layout."""

from collections import Counter
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from bitarray import bitarray
from numpy.typing import NDArray

from framesim.coverage.fast.accelerator import exact_flips_sender
from framesim.coverage.fast.draws import LANES, drawn_inside, flips_of
from framesim.coverage.fast.flips import FLIPS_AT_ONCE, portions
from framesim.coverage.fast.sending import Drawn, bits_from, template_of
from framesim.coverage.fast.shape import can_shape, code_numbers, moves_of
from framesim.disturbance import ExactFlips, Scatter
from framesim.errors import BadArgument
from framesim.kernels.sliced_can import CanShape, write_can
from framesim.networks.automaton import CHECKS
from framesim.networks.network import Network

if TYPE_CHECKING:
    from framesim.coverage.fast.work import Judged, Sampling

__all__ = ["Sliced", "engine", "flips_of"]

ROOM = 1024  # frames put aside at a time; more room is made when needed


@dataclass(frozen=True, kw_only=True, eq=False)
class Sliced:
    """Compiled receivers of one network.

    Attributes:
        network: whose frames.
        shape: its format in numbers.
        made: the compiled receivers, ``sliced_made.Made``.
    """

    network: Network
    shape: CanShape
    made: Any
    note = ""

    def lay(self, work: "Sampling", drawn: Drawn) -> tuple[NDArray[np.uint8], NDArray[np.int64], NDArray[np.int64]]:
        """Return the frames of a unit on the wire, their lengths, and the bits up to which content reaches."""
        from framesim.kernels.laying import lay_frames

        count = len(drawn.template)
        wires = np.ones((count, self.shape.planes), np.uint8)
        lengths, content = np.zeros(count, np.int64), np.zeros(count, np.int64)
        begins = [0, *(np.flatnonzero(np.diff(drawn.template)) + 1).tolist(), count]
        for begin, stop in pairwise(begins):  # frames of a source stand together
            index, rows = int(drawn.template[begin]), slice(begin, stop)
            template, payloads = template_of(self.network, work.sources[index]), drawn.payloads[index]
            words = np.empty((stop - begin, len(template.word)), np.uint8)
            words[:] = template.word
            size = 8 * payloads.shape[1]
            words[:, template.payload_at : template.payload_at + size] = np.unpackbits(payloads, axis=1)
            lay_frames(
                words, template.tail, self.shape.run, self.shape.width, self.shape.polynomial, self.shape.initial,
                wires[rows], lengths[rows], content[rows],
            )  # fmt: skip
        return wires, lengths, content

    def judge(self, work: "Sampling", drawn: Drawn, seed: int, number: int) -> "Judged":
        """Judge the frames of a unit; those that were accepted with flips in their content are put aside."""
        from framesim.coverage.fast.work import Judged
        from framesim.kernels import sliced_driver

        wires, lengths, content = self.lay(work, drawn)
        tally = _Tally(self)
        flips = 0
        channel = work.channel
        if isinstance(channel, ExactFlips) and drawn_inside(channel, work.repeats):
            if channel.count > lengths.min():
                raise BadArgument(f"count={channel.count}: a frame of {lengths.min()} bits cannot hold so many flips")
            turns, numbers = work.repeats // LANES, (np.uint64(seed), np.uint64(number))
            receive, elsewhere = self.made.receive, exact_flips_sender(self.shape, channel.count)

            def send(*rest: Any) -> None:
                if elsewhere is None or not elsewhere(wires, lengths, content, turns, seed, number, *rest):
                    sliced_driver.exact_flips(receive, wires, lengths, content, channel.count, turns, *numbers, *rest)

            tally.run(send, 0)
            flips = channel.count * work.frames_a_unit
        else:
            if isinstance(channel, Scatter) and drawn_inside(channel, work.repeats):
                drawn_flips = self._scattered(channel.bit_error_ratio, lengths, work.repeats, seed, number)
            else:
                drawn_flips = portions(channel, lengths, work.repeats, seed=seed, number=number)
            for first, stop, pattern, place in drawn_flips:
                part = slice(first, stop)
                tally.run(
                    lambda *rest, part=part, pattern=pattern, place=place: sliced_driver.given_flips(
                        self.made.receive,
                        wires[part],
                        lengths[part],
                        content[part],
                        work.repeats,
                        pattern,
                        place,
                        *rest,
                    ),
                    first,
                )
                flips += len(place)
        counts = tally.counts()
        counts["flips"] = flips
        return Judged(counts, tally.aside)

    def _scattered(self, chance: float, lengths: NDArray[np.int64], repeats: int, seed: int, number: int) -> Any:
        """Yield the flips of a scatter; see ``portions``."""
        from framesim.kernels.sliced_draws import scattered_flips

        first, reached, n_bits = 0, np.array([-1, 0], np.int64), int(lengths.max())
        room = max(n_bits, 1 << 16, min(FLIPS_AT_ONCE, int(1.2 * chance * n_bits * repeats)))
        pattern, place = np.empty(room, np.int64), np.empty(room, np.int32)
        while first < len(lengths):
            found, stop = scattered_flips(
                lengths, repeats, chance, np.uint64(seed), np.uint64(number), first, reached, pattern, place
            )
            pattern[:found] -= first * repeats
            yield first, min(stop + 1, len(lengths)), pattern[:found], place[:found]
            first = stop


class _Tally:
    """Counts of several runs of the drivers, and the frames put aside."""

    def __init__(self, sliced: Sliced) -> None:
        self._moves, self._code = moves_of(sliced.network), code_numbers(sliced.network)
        self._spoken = np.zeros(len(CHECKS), np.int64)
        self._fates = np.zeros(2, np.int64)
        self._planes = sliced.shape.planes
        self._room = ROOM
        self.aside: list[tuple[int, bitarray]] = []

    def run(self, driver: Any, first: int) -> None:
        """Run a driver whose frames are numbered from ``first``; once more with more room if it ran out."""
        while True:
            spoken, fates = self._spoken.copy(), self._fates.copy()
            fates[1] = 0
            frames, seen = np.empty(self._room, np.int64), np.empty((self._room, self._planes), np.uint8)
            driver(self._moves, self._code, spoken, fates, frames, seen)
            found = int(fates[1])
            if found <= self._room:
                break
            self._room = found
        self._spoken, self._fates[0] = spoken, fates[0]
        self.aside += [(first + int(frames[row]), bits_from(seen[row])) for row in range(found)]

    def counts(self) -> "Counter[str]":
        """Return the counts so far."""
        counts = Counter({f"first.{CHECKS[number].value}": int(n) for number, n in enumerate(self._spoken) if n})
        counts["delivered"] = int(self._fates[0])
        counts["disturbed"] = int(self._spoken.sum() + self._fates[0]) + len(self.aside)
        return counts


@lru_cache(maxsize=8)
def engine(network: Network) -> Sliced:
    """Return the compiled receivers of a network.

    Raises:
        NotFeasible: there is no maker for its kind of layout.
        ImportError: numba is missing.
    """
    shape = can_shape(network)
    from framesim.kernels.sliced_made import made

    return Sliced(network=network, shape=shape, made=made(write_can(shape)))
