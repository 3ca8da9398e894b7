"""Frames at the edges of each format, and random ones between those edges."""

import dataclasses
import random
from collections.abc import Callable, Iterator
from functools import lru_cache
from itertools import product
from typing import Any

from framesim.errors import BadArgument
from framesim.networks.registry import network as network_called

__all__ = ["boundary_frames", "random_frame"]

# Bytes that keep a line code busy: no edge at all, an edge a bit, runs of four and five.
_FILLS = (b"\x00", b"\xff", b"\x55", b"\xf0", b"\xf8", b"\x0f")


def _filled(size: int) -> list[bytes]:
    return [(fill * size)[:size] for fill in _FILLS] if size else [b""]


def _can(_: str) -> Iterator[dict[str, Any]]:
    for extended in (False, True):
        names = (0, 1, 0x555, 0x7FF) if not extended else (0, 0x1F, 0x1555_5555, 0x1FFF_FFFF, 0x0AAA_0000)
        for identifier, size in product(names, range(9)):
            for payload in _filled(size):
                yield {"identifier": identifier, "payload": payload, "extended": extended}
        for identifier, dlc in product(names, range(16)):
            yield {"identifier": identifier, "extended": extended, "remote": True, "dlc": dlc}
        for payload, dlc in product(_filled(8), range(9, 16)):
            yield {"identifier": names[-1], "payload": payload, "extended": extended, "dlc": dlc}


def _can_fd(name: str) -> Iterator[dict[str, Any]]:
    iso = name == "can-fd"
    for size, extended in product((0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64), (False, True)):
        for payload in _filled(size):
            names = (0, 0x1FFF_FFFF) if extended else (0, 0x7FF, 0x2AA)
            for identifier, (fast, passive) in product(names, ((False, False), (True, True))):
                yield {
                    "identifier": identifier,
                    "payload": payload,
                    "extended": extended,
                    "bit_rate_switch": fast,
                    "error_state": passive,
                    "iso": iso,
                }


def _can_xl(_: str) -> Iterator[dict[str, Any]]:
    for size in (1, 2, 3, 4, 5, 8, 16, 64, 255, 2048):
        for payload in _filled(size)[:4] if size < 255 else [b"\xf8" * size]:
            yield {"identifier": 0x7FF if size % 2 else 0, "payload": payload}
            yield {
                "identifier": 0x2AA,
                "payload": payload,
                "sdu_type": 0xFF,
                "simple_extended_content": True,
                "virtual_network": 0xFF,
                "acceptance": 0xFFFF_FFFF,
                "remote_request_substitution": True,
            }


def _lin(_: str) -> Iterator[dict[str, Any]]:
    for identifier, size, checksum in product(range(64), (1, 2, 8), ("classic", "enhanced")):
        yield {"identifier": identifier, "payload": (b"\xff\x00\xaa\x55" * 2)[:size], "checksum": checksum}
    for size, checksum in product(range(1, 9), ("classic", "enhanced")):
        for payload in _filled(size):
            yield {"identifier": 0x23, "payload": payload, "checksum": checksum}


def _flexray(name: str) -> Iterator[dict[str, Any]]:
    channel, dynamic = "B" if "-b" in name else "A", name.endswith("dynamic")
    shared = {"channel": channel, "dynamic": dynamic}
    for frame_id, size in product((1, 1024, 2047), (0, 2, 4, 8, 254)):
        for payload in _filled(size) if size < 100 else [b"\x55" * size]:
            yield {"frame_id": frame_id, "payload": payload, "cycle": 63 if size else 0, **shared}
            yield {"frame_id": frame_id, "payload": payload, "preamble_indicator": True, **shared}
            if not dynamic:
                yield {"frame_id": frame_id, "payload": payload, "sync": True, **shared}
                yield {"frame_id": frame_id, "payload": payload, "sync": True, "startup": True, **shared}
                yield {"frame_id": frame_id, "payload": bytes(size), "null": True, **shared}


def _ethernet(_: str) -> Iterator[dict[str, Any]]:
    for size in (0, 1, 41, 42, 43, 45, 46, 47, 60, 1500):
        for payload in _filled(size)[:3]:
            for vlan in (None, 0, 0xFFF):
                tag = {"vlan": vlan, "priority": 7 if vlan else 0, "drop_eligible": bool(vlan)}
                shared = {"destination": b"\xff" * 6, "source": b"\x02\x00\x00\x00\x00\x01", **tag}
                yield {"ethertype": len(payload), "payload": payload, **shared}
                yield {"ethertype": 0x88B5, "payload": payload, **shared}


def _sent(_: str) -> Iterator[dict[str, Any]]:
    for count, form in product(range(1, 7), ("recommended", "legacy")):
        for nibbles in ((0,), (15,), (5, 10), (0, 15), (8, 1, 4, 2)):
            for pause in (None, 28, 100, 768):
                yield {"status": count, "nibbles": (nibbles * 6)[:count], "pause": pause, "crc_form": form}


_EDGES: dict[str, Callable[[str], Iterator[dict[str, Any]]]] = {
    "can": _can, "can-fd": _can_fd, "can-fd-original": _can_fd, "can-xl": _can_xl, "lin": _lin, "flexray": _flexray,
    "flexray-b": _flexray, "flexray-dynamic": _flexray, "flexray-b-dynamic": _flexray, "ethernet": _ethernet,
    "sent": _sent,
}  # fmt: skip


@lru_cache(maxsize=16)
def boundary_frames(network: str) -> tuple[Any, ...]:
    """Return the frames at the edges of a network's format, always the same, in the same order.

    Raises:
        BadArgument: no edges are known for this network.
    """
    if network not in _EDGES:
        raise BadArgument(
            f"network={network!r}: no frames known to challenge with; expected one of {', '.join(_EDGES)}"
        )
    frame_type = network_called(network).frame_type
    made = (frame_type(**values) for values in _EDGES[network](network))
    return tuple({repr(frame): frame for frame in made}.values())  # equal frames may be sent differently


def random_frame(network: str, rng: random.Random) -> Any:
    """Return a frame of one of the shapes at the edges, its numbers and bytes drawn anew."""
    shape = rng.choice(boundary_frames(network))
    for _ in range(20):
        try:
            return _drawn(network, shape, rng)
        except BadArgument:  # a number that this shape does not allow
            continue
    return shape


def _drawn(network: str, shape: Any, rng: random.Random) -> Any:
    values: dict[str, Any] = {}
    for name, most in _most(network)[_flags(shape)].items():
        value = getattr(shape, name)
        if isinstance(value, bytes):
            values[name] = rng.randbytes(len(value))
        elif isinstance(value, tuple):
            values[name] = tuple(rng.randrange(16) for _ in value)
        elif isinstance(value, int) and name not in ("dlc", "ethertype"):  # these say how long the payload is
            values[name] = rng.randint(0, most)
    return dataclasses.replace(shape, **values)


def _flags(frame: Any) -> tuple[Any, ...]:
    """Return what makes two frames of one shape, as far as numbers are concerned: flags and choices."""
    values = (getattr(frame, field.name) for field in dataclasses.fields(frame))
    return tuple(value for value in values if isinstance(value, bool | str | None))


@lru_cache(maxsize=16)
def _most(network: str) -> dict[tuple[Any, ...], dict[str, int]]:
    """Return for each shape the largest value of each field that is a number; 0 for bytes and nibbles."""
    shapes: dict[tuple[Any, ...], dict[str, int]] = {}
    for frame in boundary_frames(network):
        most = shapes.setdefault(_flags(frame), {})
        for field in dataclasses.fields(frame):
            value = getattr(frame, field.name)
            if isinstance(value, bytes | tuple):
                most[field.name] = 0
            elif isinstance(value, int) and not isinstance(value, bool):
                most[field.name] = max(most.get(field.name, 0), value)
    return shapes
