"""Which frames a mean is taken over: random or bounded payloads, or a list."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from math import prod
from typing import Any, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from framesim.errors import BadArgument, check_number, check_range
from framesim.plain import frame_fields

__all__ = ["Listed", "Payloads", "Population"]

_PURPOSE = 0x7061_796C_6F61_6473  # sets these draws apart from others of the same seed
_LARGEST_FRAME = 1 << 62
_LONGEST = 1 << 16
LARGEST_WEIGHT = 1e15


@runtime_checkable
class Population(Protocol):
    """Frames that differ in their payloads alone, to be drawn from or gone through."""

    @property
    def frame(self) -> Any:
        """Everything but the payload is taken from it, and the payload's length."""

    @property
    def seed(self) -> int:
        """Of the draws."""

    @property
    def n_bytes(self) -> int:
        """Length of the payload."""

    @property
    def size(self) -> int:
        """How many payloads there are."""

    def every(self, first: int, count: int) -> NDArray[np.uint8]:
        """Return the payloads numbered ``first .. first + count - 1``; dtype uint8, shape (count, n_bytes)."""

    def draw(self, first: int, count: int) -> NDArray[np.uint8]:
        """Return ``count`` payloads drawn, the ``first``-th of all draws and those after it; likewise."""

    def describe(self) -> dict[str, Any]:
        """Return what the population is, ready for JSON."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Payloads:
    """Frames of one kind with independent payload bytes, each uniform between bounds.

    Attributes:
        frame: everything but the payload is taken from it, and the payload's length.
        low: smallest value of each byte; None: 0.
        high: largest value of each byte; None: 255.
        seed: of the draws. The payload of frame number i depends on the seed and on i alone.
    """

    frame: Any
    low: bytes | None = None
    high: bytes | None = None
    seed: int = 1

    def __post_init__(self) -> None:
        payload = getattr(self.frame, "payload", None)
        if not isinstance(payload, bytes):
            raise BadArgument(f"frame={self.frame!r}: has no payload of bytes to vary")
        for name, fallback in (("low", b"\x00"), ("high", b"\xff")):
            bound = getattr(self, name)
            if bound is None:
                object.__setattr__(self, name, fallback * len(payload))
            elif not isinstance(bound, bytes) or len(bound) != len(payload):
                raise BadArgument(f"{name}={bound!r}: expected {len(payload)} bytes, one for each of the payload's")
        assert self.low is not None
        assert self.high is not None
        for place, (least, most) in enumerate(zip(self.low, self.high, strict=True)):
            if least > most:
                raise BadArgument(f"high[{place}]={most:#x}: must be at least low[{place}]={least:#x}")
        check_range("seed", self.seed, 0, 2**64 - 1, base="d")

    @property
    def n_bytes(self) -> int:
        """Length of the payload."""
        return len(self.frame.payload)

    @property
    def size(self) -> int:
        """How many different payloads there are."""
        assert self.low is not None
        assert self.high is not None
        return prod(most - least + 1 for least, most in zip(self.low, self.high, strict=True))

    def every(self, first: int, count: int) -> NDArray[np.uint8]:
        """Return the payloads numbered ``first .. first + count - 1`` of all there are, last byte fastest.

        Returns:
            dtype uint8, shape (count, n_bytes).

        Raises:
            BadArgument: there are not so many, or more than 2^62.
        """
        check_range("first + count", first + count, 0, min(self.size, _LARGEST_FRAME), base="d")
        assert self.low is not None
        assert self.high is not None
        number = np.arange(first, first + count, dtype=np.int64)
        payloads = np.empty((count, self.n_bytes), np.uint8)
        for place in range(self.n_bytes - 1, -1, -1):
            wide = self.high[place] - self.low[place] + 1
            payloads[:, place] = self.low[place] + number % wide
            number //= wide
        return payloads

    def draw(self, first: int, count: int) -> NDArray[np.uint8]:
        """Return the payloads of the frames numbered ``first .. first + count - 1``.

        Returns:
            dtype uint8, shape (count, n_bytes).

        Raises:
            BadArgument: a number out of range.
        """
        check_range("first", first, 0, _LARGEST_FRAME, base="d")
        check_range("count", count, 0, 1 << 32, base="d")
        assert self.low is not None
        assert self.high is not None
        steps = -(-self.n_bytes // 4)  # Philox yields four numbers a step
        if not steps:
            return np.empty((count, 0), np.uint8)
        bits = np.random.Philox(key=self.seed + (_PURPOSE << 64), counter=first * steps)
        share = np.random.Generator(bits).random((count, 4 * steps))[:, : self.n_bytes]
        least = np.frombuffer(self.low, np.uint8).astype(np.float64)
        wide = np.frombuffer(self.high, np.uint8) - least + 1
        return (least + np.floor(share * wide)).astype(np.uint8)

    def describe(self) -> dict[str, Any]:
        """Return what the population is, ready for JSON."""
        assert self.low is not None
        assert self.high is not None
        bounds = {"bytes": self.n_bytes, "low": self.low.hex(), "high": self.high.hex()}
        fields = {name: value for name, value in frame_fields(self.frame).items() if name != "payload"}
        return {"kind": "payloads", **bounds, "frame": fields}


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """Frames one by one, each with its share of the traffic.

    Attributes:
        frames: at least one, all of one network.
        weights: how often each is sent, relative to the others; None: all alike.
    """

    frames: Sequence[Any]
    weights: Sequence[float] | None = None

    def __post_init__(self) -> None:
        if not isinstance(self.frames, list | tuple) or not self.frames:
            raise BadArgument(f"frames={self.frames!r:.60}: expected a list of at least one frame")
        if self.weights is not None:
            if len(self.weights) != len(self.frames):
                raise BadArgument(f"weights: {len(self.weights)} of them, must be {len(self.frames)}, one a frame")
            for place, weight in enumerate(self.weights):
                check_number(f"weights[{place}]", weight, 0, LARGEST_WEIGHT)
            if not sum(self.weights) > 0:
                raise BadArgument("weights: must not all be 0")

    @property
    def shares(self) -> NDArray[np.float64]:
        """The weights, made to sum to 1."""
        weights = np.ones(len(self.frames)) if self.weights is None else np.asarray(self.weights, np.float64)
        return np.asarray(weights / weights.sum())

    def describe(self) -> dict[str, Any]:
        """Return what the population is, ready for JSON."""
        rows = [[frame_fields(frame), float(share)] for frame, share in zip(self.frames, self.shares, strict=True)]
        digest = sha256(json.dumps(rows, sort_keys=True).encode()).hexdigest()
        return {"kind": "listed", "frames": len(self.frames), "first": rows[0][0], "sha256": digest}
