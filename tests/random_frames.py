"""Random frames of every network from a seeded generator: for counts that hypothesis is too thorough for."""

import random

import framesim as fs

__all__ = ["BUILDERS", "random_bits", "random_frame"]


def _payload(rng: random.Random, sizes) -> bytes:
    """Return a payload; one in four is made of long runs, so that line codes are busy."""
    size = rng.choice(sizes)
    if rng.random() < 0.25:
        return bytes(rng.choice((0x00, 0xFF, 0x0F, 0xF0)) for _ in range(size))
    return rng.randbytes(size)


def _can(rng):
    extended, remote = rng.random() < 0.4, rng.random() < 0.15
    return fs.CanFrame(
        identifier=rng.getrandbits(29 if extended else 11),
        payload=b"" if remote else _payload(rng, range(9)),
        extended=extended,
        remote=remote,
        dlc=rng.randrange(16) if remote else None,
    )


def _can_fd(rng):
    extended = rng.random() < 0.4
    return fs.CanFdFrame(
        identifier=rng.getrandbits(29 if extended else 11),
        payload=_payload(rng, (0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64)),
        extended=extended,
        bit_rate_switch=rng.random() < 0.5,
        error_state=rng.random() < 0.5,
        iso=rng.random() < 0.7,
    )


def _can_xl(rng):
    return fs.CanXlFrame(
        identifier=rng.getrandbits(11),
        payload=_payload(rng, (*range(1, 20), 64, 120)),
        sdu_type=rng.getrandbits(8),
        simple_extended_content=rng.random() < 0.5,
        virtual_network=rng.getrandbits(8),
        acceptance=rng.getrandbits(32),
        remote_request_substitution=rng.random() < 0.5,
    )


def _lin(rng):
    return fs.LinFrame(
        identifier=rng.getrandbits(6),
        payload=_payload(rng, range(1, 9)),
        checksum=rng.choice(("enhanced", "classic")),
    )


def _flexray(rng):
    dynamic = rng.random() < 0.4
    null, sync = not dynamic and rng.random() < 0.15, not dynamic and rng.random() < 0.4
    payload = _payload(rng, (*range(0, 20, 2), 40))
    return fs.FlexRayFrame(
        frame_id=rng.randrange(1, 2048),
        payload=bytes(len(payload)) if null else payload,
        cycle=rng.randrange(64),
        channel=rng.choice("AB"),
        sync=sync,
        startup=sync and rng.random() < 0.5,
        preamble_indicator=rng.random() < 0.3,
        null=null,
        dynamic=dynamic,
    )


def _ethernet(rng):
    vlan = rng.getrandbits(12) if rng.random() < 0.4 else None
    payload = _payload(rng, (0, 1, 30, 42, 45, 46, 47, 60) if rng.random() < 0.9 else (100, 199, 200))
    is_type = rng.random() < 0.7
    return fs.EthernetFrame(
        destination=rng.randbytes(6),
        source=rng.randbytes(6),
        ethertype=rng.choice((0x0800, 0x88B5, 0x86DD)) if is_type else len(payload),
        payload=payload,
        vlan=vlan,
        priority=0 if vlan is None else rng.randrange(8),
        drop_eligible=vlan is not None and rng.random() < 0.5,
    )


def _sent(rng):
    return fs.SentFrame(
        status=rng.randrange(16),
        nibbles=tuple(rng.randrange(16) for _ in range(rng.randrange(1, 7))),
        crc_form=rng.choice(("recommended", "legacy")),
        pause=rng.choice((12, 13, 27, 28, rng.randrange(12, 769))) if rng.random() < 0.3 else None,
    )


BUILDERS = {
    "can": _can,
    "can-fd": _can_fd,
    "can-xl": _can_xl,
    "lin": _lin,
    "flexray": _flexray,
    "ethernet": _ethernet,
    "sent": _sent,
}


def random_frame(name: str, rng: random.Random):
    """Return a random frame of the network."""
    return BUILDERS[name](rng)


def random_bits(name: str, rng: random.Random, samples) -> list[int]:
    """Return garbage: uniformly random bits, or a real frame flipped, cut, shifted, or run into another.

    Args:
        name: the network.
        rng: the generator.
        samples: wire bits of real frames to spoil, as lists.
    """
    kind = rng.randrange(5)
    if kind == 0:
        length = rng.randrange(120)
        return [int(bit) for bit in f"{rng.getrandbits(length + 1):0{length + 1}b}"]
    bits = list(rng.choice(samples))
    if kind == 1:
        for _ in range(rng.choice((1, 1, 2, 3, 8))):
            bits[rng.randrange(len(bits))] ^= 1
    elif kind == 2:
        del bits[rng.randrange(len(bits)) :]
    elif kind == 3:
        del bits[rng.randrange(len(bits))]  # a slip: everything after it comes one bit early
        bits.insert(rng.randrange(len(bits) + 1), rng.getrandbits(1))
    else:
        cut = rng.randrange(len(bits))
        bits = bits[:cut] + list(rng.choice(samples))[rng.randrange(20) :]
    return bits
