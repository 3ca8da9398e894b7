"""Payloads drawn for a claim, and those that tell most."""

from collections.abc import Iterator
from hashlib import sha256

from framesim.claims.subject import FrameSubject
from framesim.coverage.population import Payloads

__all__ = ["TELLING", "draws", "some_payloads", "stream"]

#: bytes of which whole payloads are tried first: long runs and none, the edges of a sum
TELLING = (0x00, 0xFF, 0x55, 0xAA, 0x01, 0x80, 0x0F)


def stream(seed: int, name: str) -> int:
    """Return a seed of the claim's own: it depends on the file's seed and on the claim's id alone."""
    return int.from_bytes(sha256(f"{seed}/{name}".encode()).digest()[:7])


def draws(subject: FrameSubject, seed: int, name: str) -> Payloads:
    """Return the population that the claim's payloads are drawn from."""
    return Payloads(frame=subject.frame, seed=stream(seed, name))


def some_payloads(subject: FrameSubject, seed: int, name: str) -> Iterator[bytes]:
    """Yield payloads: for a claim about the worst one, telling ones first; then drawn ones. All of them if few."""
    population = draws(subject, seed, name)
    if population.size <= 256:
        yield from (row.tobytes() for row in population.every(0, population.size))
        return
    if subject.payload == "worst":
        yield from (bytes([byte]) * subject.n_bytes for byte in TELLING)
    number = 0
    while True:
        yield population.draw(number, 1)[0].tobytes()
        number += 1
