"""What walked receivers make of given patterns of flips, held against what the reference receiver says of each."""

import random
from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from random_frames import random_frame

import framesim as fs
from framesim.coverage.fast.sending import draw_frames
from framesim.coverage.fast.walked import engine, fits
from framesim.coverage.fast.work import Sampling
from framesim.disturbance import Flips
from framesim.judging import run_receiver
from framesim.networks.registry import network_of

__all__ = ["Listed", "differences", "edge_flips", "judged", "near_flips", "spread_flips", "swap_flips", "verdict"]

COUNTS = (1, 2, 2, 3, 5, 9)  # flips of a frame


@dataclass(frozen=True)
class Listed:
    """A channel that flips what it is told: frame after frame of a list of patterns."""

    patterns: tuple

    def flips(self, n_frames, n_bits, rng):
        assert n_frames == len(self.patterns)
        return Flips(
            np.repeat(np.arange(n_frames), [len(row) for row in self.patterns]).astype(np.int64),
            np.array([bit for row in self.patterns for bit in row], np.int32),
        )

    def describe(self):
        return {"kind": "listed"}


def spread_flips(rng, sent):
    """Flips anywhere."""
    return rng.sample(range(len(sent)), rng.choice(COUNTS))


def near_flips(rng, sent):
    """Flips within twelve bits; half of them in the first forty, where a receiver may lose its step."""
    first = rng.randrange(len(sent) if rng.random() < 0.5 else 40)
    return {min(first + rng.randrange(12), len(sent) - 1) for _ in range(rng.choice(COUNTS))}


def edge_flips(rng, sent):
    """Flips of bits of the line code and beside edges: byte starts, start and stop bits, ends of pulses."""
    edges = [at for at in range(1, len(sent)) if sent.bits[at] != sent.bits[at - 1]]
    places = {near for at in (*edges, *sent.inserted) for near in (at - 1, at, at + 1)} | set(range(12))
    return rng.sample([at for at in sorted(places) if 0 <= at < len(sent)], rng.choice((1, 2, 3, 4)))


def swap_flips(rng, sent):
    """Flips that make another valid frame of it, or all but one of them; others where there is none nearby."""
    others = others_of(sent)
    if not others:
        return edge_flips(rng, sent)
    other = rng.choice(others)
    places = [at for at in range(len(sent)) if sent.bits[at] != other.bits[at]]
    if rng.random() < 0.5:
        places.pop(rng.randrange(len(places)))
    return places


@lru_cache(maxsize=8)
def others_of(sent):
    """Frames as long on the wire, for the same receivers."""
    rng = random.Random(sent.bits.to01())
    tried = (fs.encode(neighbour(rng, sent.frame)) for _ in range(60))
    alike = (one for one in tried if len(one) == len(sent) and network_of(one.frame) is network_of(sent.frame))
    return [one for one in alike if one.bits != sent.bits][:20]


def neighbour(rng, frame):
    """Another frame that differs a little."""
    if isinstance(frame, fs.SentFrame):
        values = [frame.status, *frame.nibbles]
        one, two = rng.sample(range(len(values)), 2)
        up = rng.choice((1, 2))
        values[one], values[two] = (values[one] + up) % 16, (values[two] - up) % 16
        return replace(frame, status=values[0], nibbles=tuple(values[1:]))
    payload = bytearray(frame.payload)
    if payload and not getattr(frame, "null", False):
        payload[rng.randrange(len(payload))] ^= 1 << rng.randrange(8)
    changed = {"payload": bytes(payload)}
    if isinstance(frame, fs.FlexRayFrame):
        changed |= {"cycle": rng.randrange(64), "frame_id": frame.frame_id ^ (1 << rng.randrange(11)) or 1}
    if isinstance(frame, fs.LinFrame) and rng.random() < 0.5:
        changed["identifier"] = rng.randrange(60) if frame.identifier < 60 else rng.randrange(60, 64)
    if isinstance(frame, fs.EthernetFrame):
        changed["destination"] = rng.randbytes(6)
    return replace(frame, **changed)


def verdict(sent, pattern):
    """The reference receiver's word."""
    network = network_of(sent.frame)
    reception = run_receiver(network, sent.flipped(sorted(pattern)), strict=True).finish()
    if reception.check is not None:
        return f"first.{reception.check.value}"
    if not reception.accepted:
        return "unseen"
    return "delivered" if reception.frame == sent.frame else "undetected"


def judged(frame, patterns):
    """What the engine makes of patterns of one frame: its counts, and how many it leaves to the judge."""
    work = Sampling(sources=(frame,), channel=Listed(tuple(patterns)), payloads=1, repeats=len(patterns), most_cases=0)
    found = engine(network_of(frame))
    fits(work.sources)
    done = found.judge(work, draw_frames(work.sources, np.ones(1), 1, seed=1, number=0), 1, 0)
    assert done.counts["disturbed"] == len(patterns)
    return done.counts, len(done.aside)


def differences(rng, frames, patterns, ways):
    """How many frames get another verdict than from the reference; what was said; how many were left to the judge.

    The patterns of a frame are sorted by what the reference says of them. All of one kind go to the engine together,
    so its counts must be of one kind too, and no two mistakes can hide each other.
    """
    said, left, wrong = Counter(), Counter(), 0
    for frame in frames:
        sent = fs.encode(frame)
        groups = defaultdict(list)
        for _ in range(patterns):
            pattern = sorted(rng.choice(ways)(rng, sent))
            groups[verdict(sent, pattern)].append(pattern)
        for kind, rows in groups.items():
            counts, aside = judged(sent.frame, rows)
            wrong += len(rows) - counts[kind] - aside
            said[kind] += len(rows)
            left[kind] += aside
    return wrong, said, left


if __name__ == "__main__":
    import sys

    which, how, seed, total = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
    chosen = (spread_flips,) if how == "random" else (near_flips, edge_flips, swap_flips)
    source, done, missed = random.Random(seed), 0, 0
    all_said, all_left = Counter(), Counter()
    while done < total:
        bad, heard, kept = differences(source, [random_frame(which, source) for _ in range(2)], 2500, chosen)
        done, missed = done + 5000, missed + bad
        all_said, all_left = all_said + heard, all_left + kept
        print(which, how, done, "wrong", missed, dict(all_said), "left", dict(all_left), flush=True)
