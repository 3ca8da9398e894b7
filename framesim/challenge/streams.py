"""The cases of a challenge, in order: vectors, frames at the edges, spoiled ones, then as many random ones as asked."""

import random
from collections.abc import Iterator
from functools import lru_cache
from itertools import islice
from typing import Any

from framesim.challenge.adversarial import hidden_pairs, spoiled
from framesim.challenge.boundary import boundary_frames, random_frame
from framesim.challenge.case import Case, Recipe, decode_case, encode_case
from framesim.challenge.vectors import vector_cases
from framesim.errors import BadArgument, check_range

__all__ = ["MODES", "cases", "modes_of"]

MODES = ("decode", "encode", "both")
_ROUNDS = 3  # how often a random frame is spoiled in every way: to put it on the wire takes as long as twelve cases
# A classic CAN frame that is rich in pairs of flips which no check sees; found by trying frames.
_RICH = 0x482, "f82231d28aebc714"


def modes_of(mode: str) -> tuple[str, ...]:
    """Return the modes that ``mode`` asks for.

    Raises:
        BadArgument: no such mode.
    """
    if mode not in MODES:
        raise BadArgument(f"mode={mode!r}: must be one of {', '.join(MODES)}")
    return ("decode", "encode") if mode == "both" else (mode,)


def cases(network: str, *, mode: str = "decode", seed: int = 1, count: int = 20_000) -> Iterator[Case]:
    """Yield ``count`` cases, the same for the same arguments.

    Args:
        network: name of a network, or of a configuration such as ``flexray-b``.
        mode: ``"decode"``, ``"encode"`` or ``"both"``.
        seed: of the random part, 0..2^63 - 1.
        count: how many; the fixed part comes first and is cut short if there are fewer.

    Raises:
        BadArgument: an argument out of range.
    """
    wanted = modes_of(mode)
    check_range("seed", seed, 0, (1 << 63) - 1, base="d")
    check_range("count", count, 1, 1_000_000_000, base="d")
    boundary_frames(network)
    rng = random.Random(f"{network} {mode} {seed}")
    return islice(_all(network, wanted, rng), count)


def _all(network: str, modes: tuple[str, ...], rng: random.Random) -> Iterator[Case]:
    for mode in modes:
        yield from vector_cases(network, mode)
        for frame in boundary_frames(network):
            if mode == "encode":
                yield encode_case(network, frame, origin="a frame at an edge of the format")
            else:
                yield decode_case(network, Recipe(frame=frame), origin="a frame at an edge of the format")
    if "decode" in modes:
        if network == "can":
            yield from _pairs()
        edges = list(boundary_frames(network))
        rng.shuffle(edges)
        for frame in edges[:40]:
            yield from spoiled(network, frame, rng)
    while True:
        yield from _random(network, modes, random_frame(network, rng), rng)


def _random(network: str, modes: tuple[str, ...], frame: Any, rng: random.Random) -> Iterator[Case]:
    if "encode" in modes:
        yield encode_case(network, frame, origin="a random frame")
    if "decode" in modes:
        for _ in range(_ROUNDS):
            yield from spoiled(network, frame, rng)


@lru_cache(maxsize=1)
def _pairs() -> tuple[Case, ...]:
    """Return pairs of flips on classic CAN that no check sees: a receiver must accept the wrong frame."""
    from framesim.networks.can import CanFrame

    identifier, payload = _RICH
    return tuple(hidden_pairs("can", CanFrame(identifier=identifier, payload=bytes.fromhex(payload))))
