"""The receiver of ternary symbols: descrambles pairs into bits and hands them to the MAC's receiver.

Source: IEEE 802.3bw-2015 clause 96.3, PCS receive (from memory).
"""

from collections.abc import Iterable
from enum import Enum

from bitarray import bitarray

from framesim.errors import BadArgument
from framesim.linecoding.side_stream import SideStream
from framesim.linecoding.ternary_pairs import BITS_OF, NO_DATA
from framesim.networks.ethernet.format import ETHERNET
from framesim.networks.ethernet.line import SEED, SSD_BITS
from framesim.networks.receiver import Receiver, Reception
from framesim.words import Check

__all__ = ["LineReceiver", "receive_symbols"]

SSD_STANDS_FOR = bitarray("10" * SSD_BITS)[:SSD_BITS]  # the receiver puts back what the SSD displaced

State = Enum("State", "START DATA END_1 END_2 OVER REJECTED")


class LineReceiver:
    """A station's view of one frame, fed one symbol at a time.

    Strict, it concludes at the first check that speaks; listening, it notes the check and reads on: an illegal pair
    then counts as three zeros.

    Attributes:
        spoken: check → symbol at which it first spoke.
        mac: the receiver of bits, fed when the stream has ended.
        position: how many symbols were taken.
    """

    def __init__(self, *, seed: int = SEED, slave: bool = False, strict: bool = True) -> None:
        self.strict = strict
        self.spoken: dict[Check, int] = {}
        self.mac = Receiver(ETHERNET, strict=strict)
        self.position = 0
        self._scrambler = SideStream(seed=seed, slave=slave)
        self._state = State.START
        self._first = 0
        self._held = 0  # what the scrambler said when the first pair of a possible ESD came
        self._bits = bitarray()

    @property
    def done(self) -> bool:
        """Whether the verdict stands."""
        return self._state in (State.OVER, State.REJECTED)

    @property
    def bits(self) -> bitarray:
        """The wire bits read so far, those that the SSD stands for included."""
        return SSD_STANDS_FOR + self._bits

    def feed(self, symbols: Iterable[int]) -> Reception | None:
        """Take symbols; return the verdict once it stands, else None. Further symbols change nothing.

        Raises:
            BadArgument: a symbol other than -1, 0 and 1.
        """
        for symbol in symbols:
            if symbol not in (-1, 0, 1):
                raise BadArgument(f"symbol={symbol!r}: must be -1, 0 or 1")
            if self.done:
                break
            self.position += 1
            if self.position % 2:
                self._first = symbol
            else:
                self._take((self._first, symbol), self.position - 1)
        return self.reception() if self.done else None

    def finish(self) -> Reception:
        """Say that the link fell quiet, and return what is concluded: within a stream, that its end is missing."""
        if self._state in (State.DATA, State.END_1, State.END_2):
            self._speak(Check.FORM, self.position - 1)
            if not self.done:
                self._end()
        return self.reception()

    def reception(self) -> Reception:
        """Return what is concluded so far; places count symbols."""
        if self.spoken:
            check = min(self.spoken, key=self.spoken.__getitem__)
            return Reception(accepted=False, complete=True, check=check, at=self.spoken[check])
        if self._state is not State.OVER:
            return Reception(accepted=False, complete=False)
        heard = self.mac.reception()
        if heard.accepted:
            return Reception(accepted=True, complete=True, frame=heard.frame, valid_at=self.position - 1)
        return heard

    def _speak(self, check: Check, at: int) -> None:
        self.spoken.setdefault(check, at)
        if self.strict:
            self._state = State.REJECTED

    def _take(self, pair: tuple[int, int], at: int) -> None:
        """Take one pair, whose second symbol stands at ``at``."""
        scramble = self._scrambler.next()
        if self._state is State.START:
            if pair != NO_DATA:
                self._speak(Check.FORM, at)
            if not self.done and at + 1 == 2 * SSD_BITS // 3:
                self._state = State.DATA
        elif self._state is State.DATA:
            self._data(pair, scramble)
        elif self._state is State.END_1:
            if pair == NO_DATA:
                self._state = State.END_2
                return
            self._speak(Check.LINE_CODE, at)  # so the (0, 0) before stood within the data
            if not self.done:
                self._add(self._held)
                self._state = State.DATA
                self._data(pair, scramble)
        else:
            if pair != (1, 1):
                self._speak(Check.FORM, at)
            if not self.done:
                self._end()

    def _data(self, pair: tuple[int, int], scramble: int) -> None:
        if pair == NO_DATA:
            self._state, self._held = State.END_1, scramble
        else:
            self._add(BITS_OF[pair] ^ scramble)

    def _add(self, group: int) -> None:
        self._bits.extend((group & 1, group >> 1 & 1, group >> 2))

    def _end(self) -> None:
        """The stream is over: give the MAC what came, whole nibbles only, and let its verdict stand."""
        self._state = State.OVER
        bits = self.bits
        self.mac.feed(bits[: len(bits) // 4 * 4])
        self.mac.finish()
        for check, place in self.mac.spoken.items():
            self.spoken.setdefault(check, symbol_of(place))


def symbol_of(bit: int) -> int:
    """Return the symbol that completes the pair which carries wire bit ``bit`` of the frame."""
    return bit // 3 * 2 + 1


def receive_symbols(symbols: Iterable[int], *, seed: int = SEED, slave: bool = False) -> Reception:
    """Return what a receiver makes of ``symbols``; places in the answer count symbols.

    Args:
        symbols: -1, 0 or 1 each, from the SSD on.
        seed: where the sender's scrambler stood before the first pair; a link that is up knows.
        slave: the sender is the link's slave.

    Raises:
        BadArgument: another symbol, or a seed out of range.
    """
    receiver = LineReceiver(seed=seed, slave=slave)
    receiver.feed(symbols)
    return receiver.finish()
