"""Every network, many times: round trips, and garbage without an exception.

The normal run takes a small part; ``-m slow`` takes the whole (about an hour of CPU time) and its figures stand in
``docs/endurance.md``. FRAMESIM_SEED shifts the seed.
"""

import os
import random

import pytest
from random_frames import BUILDERS, random_bits, random_frame

import framesim as fs
from framesim.networks import registry

# Every network, and every configuration of one that has a name of its own.
RECEIVERS = sorted({*BUILDERS, *registry._VARIANTS})

SEED = int(os.environ.get("FRAMESIM_SEED", "20261125"))


def test_every_network_has_a_builder():
    assert set(BUILDERS) == set(fs.networks())
    assert {builder_of(name) for name in RECEIVERS} == set(BUILDERS)


def builder_of(name):
    """Return whose frames a receiver called ``name`` is given: its network's, in every configuration."""
    frame_type = registry.network(name).frame_type
    return next(known for known in BUILDERS if registry.network(known).frame_type is frame_type)


def round_trips(name, count):
    rng = random.Random(f"{SEED} round trips {name}")
    for _ in range(count):
        frame = random_frame(name, rng)
        sent = fs.encode(frame)
        judgement_frame = fs.judge(sent, sent.flipped([])).reception.frame
        assert judgement_frame == frame, sent.bits.to01()


def garbage(name, count):
    rng = random.Random(f"{SEED} garbage {name}")
    samples = [fs.encode(random_frame(builder_of(name), rng)).bits.tolist() for _ in range(200)]
    accepted = 0
    for _ in range(count):
        reception = fs.receive(random_bits(name, rng, samples), name)
        accepted += reception.accepted
        assert reception.complete or not reception.accepted
    assert accepted > 0  # some garbage is a whole frame with something behind it, so that path is walked too


@pytest.mark.parametrize("name", sorted(BUILDERS))
def test_an_encoded_frame_decodes_to_itself(name):
    round_trips(name, 200)


@pytest.mark.parametrize("name", RECEIVERS)
def test_garbage_gives_a_reception_and_never_an_exception(name):
    garbage(name, 1000)


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(BUILDERS))
def test_a_hundred_thousand_frames_decode_to_themselves(name):
    round_trips(name, 1_000_000 if name == "can" else 100_000)


@pytest.mark.slow
@pytest.mark.parametrize("name", RECEIVERS)
def test_a_million_strings_of_garbage_give_a_reception(name):
    garbage(name, 1_000_000)
