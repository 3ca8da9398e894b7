"""What the compiled receivers of a program of fields conclude, beside what the reference receiver does."""

import numpy as np

import framesim as fs
from framesim.coverage.fast import reference, work
from framesim.coverage.fast.scalar import engine
from framesim.coverage.fast.wires import on_the_wire
from framesim.judging import run_receiver
from framesim.kernels.field_receiver import ABANDONED, UNDECIDED, VALID
from framesim.networks.automaton import CHECKS
from framesim.networks.transitions import ABANDONED as LEFT
from framesim.words import Check

__all__ = [
    "SHORT",
    "by_the_reference",
    "by_the_reference_receiver",
    "differences",
    "fd_frame",
    "flat",
    "mended",
    "mixed_flips",
    "near_flips",
    "spread_flips",
]

SHORT = (0, 0, 1, 1, 2, 3, 4, 8)
RUNS = (0x00, 0xFF, 0xF8, 0x07, 0x1F)


def fd_frame(rng, sizes=SHORT, *, iso=None):
    """A frame of either format; half of them hold long runs of equal bits."""
    size, extended = rng.choice(sizes), rng.random() < 0.3
    runs = bytes(rng.choice(RUNS) for _ in range(size))
    return fs.CanFdFrame(
        identifier=rng.getrandbits(29 if extended else 11) if rng.random() < 0.6 else 0,
        payload=rng.randbytes(size) if rng.random() < 0.5 else runs,
        extended=extended,
        bit_rate_switch=rng.random() < 0.5,
        error_state=rng.random() < 0.5,
        iso=rng.random() < 0.6 if iso is None else iso,
    )


def spread_flips(rng, n_bits):
    return sorted(rng.sample(range(n_bits), rng.choice((1, 2, 2, 3, 5, 9))))


def near_flips(rng, n_bits):
    """Flips within twelve bits: they make and break runs."""
    first = rng.randrange(n_bits)
    return sorted({min(first + rng.randrange(12), n_bits - 1) for _ in range(rng.choice((1, 2, 2, 3, 5, 9)))})


def mixed_flips(rng, n_bits):
    return (spread_flips if rng.random() < 0.5 else near_flips)(rng, n_bits)


def mended(network, sent, first):
    """A flip, and more of them, one at a time: each mends the level at which the reference receiver finds a fault."""
    flipped, found = {first}, []
    for _ in range(16):
        found.append(tuple(sorted(flipped)))
        heard = run_receiver(network, sent.flipped(flipped), strict=True).finish()
        if heard.check not in (Check.STUFFING, Check.FORM) or heard.at is None or heard.at >= len(sent):
            break
        flipped ^= {heard.at}
    return [pattern for pattern in found if pattern]


def flat(patterns):
    """Patterns as arrays, as a channel returns them."""
    return (
        np.repeat(np.arange(len(patterns)), [len(row) for row in patterns]).astype(np.int64),
        np.array([bit for row in patterns for bit in row], np.int32),
    )


def by_the_reference_receiver(network, seen):
    """The number of the first check to speak, or what else the strict receiver concludes."""
    receiver = run_receiver(network, seen, strict=True)
    heard = receiver.finish()
    if heard.check is not None:
        return CHECKS.index(heard.check)
    return VALID if heard.accepted else ABANDONED if receiver.state == LEFT else UNDECIDED


def differences(network, sent, patterns):
    """How many patterns of a frame are judged otherwise than by the reference receiver."""
    wires, lengths = on_the_wire([sent])
    _, verdicts, _ = engine(network).verdicts(wires, lengths, len(patterns), *flat(patterns))
    expected = [by_the_reference_receiver(network, sent.flipped(row)) for row in patterns]
    return sum(found != right for found, right in zip(verdicts.tolist(), expected, strict=True))


def by_the_reference(monkeypatch, sampling, seed, number):
    with monkeypatch.context() as patch:
        patch.setattr(work, "_engine_of", lambda _: reference.Reference(note="asked for"))
        return sampling.unit(seed, number)
