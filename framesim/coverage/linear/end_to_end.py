"""What a check inside the payload adds to the link's own checks, pattern by pattern.

The two are not independent: the patterns that pass the link's checks are few and special, so their number is not
divided by two to the power of the second check's width. Each undetected pattern of the frame at hand is put
through the second check, and what has not been listed pattern by pattern counts as passed.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import fsum
from typing import Any, Literal, Protocol

from bitarray import bitarray

from framesim.codes import Crc, crc
from framesim.coverage.linear.answer import FrameResidual, bit_error_ratio_of
from framesim.errors import BadArgument, check_number, check_range
from framesim.judging import judge
from framesim.networks.registry import network
from framesim.wire import WireFrame
from framesim.words import Check, Outcome

__all__ = ["PayloadCrc", "SecondCheck", "residual_above", "second_check"]


class Pattern(Protocol):
    """A pattern of flips that the link accepts."""

    @property
    def flips(self) -> Sequence[int]:
        """Wire bits, ascending; those from the frame's length on lie in the rest after it."""

    @property
    def end(self) -> int:
        """After how many bits it is accepted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PayloadCrc:
    """A CRC in the payload over the rest of it and over bytes that are not sent.

    Attributes:
        code: the CRC's name in ``framesim.codes``; of 8, 16, 32 or 64 bits.
        at: place of its first byte in the payload.
        unsent: bytes that sender and receiver know and that enter first (a data identifier).
        byte_order: ``"big"`` or ``"little"``.

    Raises:
        BadArgument: the CRC has no whole number of bytes, or a value is out of range.
    """

    code: str
    at: int = 0
    unsent: bytes = b""
    byte_order: Literal["big", "little"] = "big"

    def __post_init__(self) -> None:
        check_range("at", self.at, 0, 1 << 16, base="d")
        if self.byte_order not in ("big", "little"):
            raise BadArgument(f"byte_order={self.byte_order!r}: must be 'big' or 'little'")
        if self._crc.width % 8:
            raise BadArgument(f"code={self.code!r}: {self._crc.width} bits are no whole number of bytes")

    @property
    def _crc(self) -> Crc:
        return crc(self.code)

    @property
    def size(self) -> int:
        """How many bytes it takes."""
        return self._crc.width // 8

    def protected(self, payload: bytes) -> bytes:
        """Return ``payload`` with the CRC written over its place.

        Raises:
            BadArgument: the payload has no room for it.
        """
        if len(payload) < self.at + self.size:
            raise BadArgument(f"len(payload)={len(payload)}: must be at least {self.at + self.size}, to hold the CRC")
        before, after = payload[: self.at], payload[self.at + self.size :]
        value = self._crc.of_bytes(self.unsent + before + after)
        return before + value.to_bytes(self.size, self.byte_order) + after

    def accepts(self, frame: Any) -> bool:
        """Tell whether the CRC in the payload of ``frame`` is right; a payload too short for it is refused."""
        payload: bytes = frame.payload
        return len(payload) >= self.at + self.size and self.protected(payload) == payload


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondCheck:
    """What a check above the link made of undetected patterns.

    Attributes:
        passed: patterns that it lets pass as well.
        caught: patterns at which it speaks.
    """

    passed: tuple[Pattern, ...]
    caught: tuple[Pattern, ...]


def second_check(sent: WireFrame, patterns: Iterable[Pattern], accepts: Callable[[Any], bool]) -> SecondCheck:
    """Put undetected patterns through a check above the link.

    Args:
        sent: the frame.
        patterns: as found by exact methods; each must be undetected by the link.
        accepts: whether the check lets a frame pass that the link has accepted (``PayloadCrc.accepts``, or any other).

    Raises:
        BadArgument: the check refuses the undisturbed frame, or a pattern is not undetected.
    """
    if not accepts(sent.frame):
        raise BadArgument(f"frame={sent.frame!r}: the second check refuses it undisturbed")
    rows = list(patterns)
    verdicts = [accepts(_accepted(sent, pattern)) for pattern in rows]
    return SecondCheck(
        passed=tuple(pattern for pattern, passed in zip(rows, verdicts, strict=True) if passed),
        caught=tuple(pattern for pattern, passed in zip(rows, verdicts, strict=True) if not passed),
    )


def residual_above(
    sent: WireFrame, patterns: Iterable[Pattern], accepts: Callable[[Any], bool], channel: Any, *, link_high: float
) -> FrameResidual:
    """Return limits of the residual error probability of link and second check together.

    Args:
        sent: the frame.
        patterns: undetected patterns of the link, each once.
        accepts: see ``second_check``.
        channel: ``Scatter``.
        link_high: an upper limit of the link's own residual error probability on this channel; its part that
            ``patterns`` does not explain counts as passed.

    Raises:
        BadArgument: see ``second_check``; or the patterns are likelier than ``link_high``.
        NotFeasible: flips on this channel depend on each other.
    """
    ratio = bit_error_ratio_of(channel, sent)
    check_number("link_high", link_high, 0, 1)
    found = second_check(sent, patterns, accepts)
    passed, caught = (_chance(row, ratio) for row in (found.passed, found.caught))
    unexplained = link_high - passed - caught
    if unexplained < -1e-9 * link_high:
        raise BadArgument(f"link_high={link_high!r}: must be at least {passed + caught!r}, the chance of the patterns")
    by_flips: dict[int, int] = {}
    for pattern in (*found.passed, *found.caught):
        by_flips.setdefault(len(pattern.flips), 0)
    for pattern in found.passed:
        by_flips[len(pattern.flips)] += 1
    return FrameResidual(
        network=sent.network,
        low=passed,
        high=passed + max(0.0, unexplained),
        method="bounded",
        basis=f"{len(found.passed)} of {len(found.passed) + len(found.caught)} undetected patterns of the link pass "
        "the second check too; what the link lets pass beyond these patterns counts as passed (in high)",
        patterns=dict(sorted(by_flips.items())),
        by_check={Check.END_TO_END: caught},
    )


def _accepted(sent: WireFrame, pattern: Pattern) -> Any:
    """Return the frame that the link makes of a pattern."""
    seen = bitarray(sent.bits)
    beyond = max([len(sent), *(place + 1 for place in pattern.flips)]) - len(sent)
    seen.extend([network(sent.network).layout.idle] * beyond)
    for place in pattern.flips:
        seen.invert(place)
    judgement = judge(sent, seen)
    if judgement.outcome is not Outcome.UNDETECTED:
        raise BadArgument(f"flips={tuple(pattern.flips)}: {judgement.outcome}, not undetected by the link")
    return judgement.reception.frame


def _chance(patterns: Sequence[Pattern], ratio: float) -> float:
    return fsum(ratio ** len(pattern.flips) * (1 - ratio) ** (pattern.end - len(pattern.flips)) for pattern in patterns)
