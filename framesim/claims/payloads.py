"""Payloads drawn for a claim, and those that tell most."""

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


def some_payloads(subject: FrameSubject, seed: int, name: str, most: int) -> tuple[list[bytes], bool]:
    """Return payloads, and whether they are all there are.

    All of them if there are no more than ``most``; else so many, each drawn independently of the others, as an
    interval over them takes for granted. For a claim about the worst one some telling ones come first.
    """
    population = draws(subject, seed, name)
    if population.size <= most:
        return [row.tobytes() for row in population.every(0, population.size)], True
    telling = [bytes([byte]) * subject.n_bytes for byte in TELLING[:most]] if subject.payload == "worst" else []
    return telling + [row.tobytes() for row in population.draw(0, most - len(telling))], False
