"""The public strategies: what they shrink to, what they can reach, and what they refuse."""

import pytest
from bitarray import bitarray
from hypothesis import HealthCheck, find, given, settings
from hypothesis import strategies as st

import framesim as fs
from framesim import strategies
from framesim.strategies import burst_sets, can_frames, disturbances, flip_sets, wires

REPEATABLE = settings(derandomize=True, database=None, max_examples=300)


def simplest(strategy, condition=lambda value: True):
    return find(strategy, condition, settings=REPEATABLE)


def test_can_frames_shrink_to_the_simplest_frame_of_each_kind():
    assert simplest(can_frames()) == fs.CanFrame(identifier=0)
    assert simplest(can_frames(extended=True)) == fs.CanFrame(identifier=0, extended=True)
    assert simplest(can_frames(remote=True)) == fs.CanFrame(identifier=0, remote=True)
    assert simplest(can_frames(min_size=3)) == fs.CanFrame(identifier=0, payload=bytes(3))


def test_can_frames_shrink_to_the_smallest_frame_that_meets_a_condition():
    assert simplest(can_frames(), lambda frame: frame.identifier > 0x100) == fs.CanFrame(identifier=0x101)
    assert simplest(can_frames(), lambda frame: sum(frame.payload) > 7) == fs.CanFrame(identifier=0, payload=b"\x08")
    assert simplest(can_frames(), lambda frame: frame.dlc > 8 and not frame.remote) == fs.CanFrame(
        identifier=0, payload=bytes(8), dlc=9
    )


@pytest.mark.parametrize(
    "kind",
    [
        lambda frame: frame.extended and frame.remote and frame.dlc == 15,
        lambda frame: frame.extended and not frame.remote and frame.dlc == 15,
        lambda frame: not frame.extended and frame.remote and frame.dlc == 0,
        lambda frame: len(frame.payload) == 8 and frame.dlc == 8,
        lambda frame: frame.identifier > 0x7FF,
    ],
)
def test_can_frames_reach_every_kind(kind):
    assert kind(simplest(can_frames(), kind))


@given(
    st.data(),
    st.sampled_from([None, False, True]),
    st.sampled_from([None, False, True]),
    st.integers(0, 8),
    st.integers(0, 8),
)
def test_can_frames_keep_to_their_bounds(data, extended, remote, one, other):
    low, high = min(one, other), max(one, other)
    if remote:
        low = 0
    frame = data.draw(can_frames(extended=extended, remote=remote, min_size=low, max_size=high))
    assert extended in (None, frame.extended)
    assert remote in (None, frame.remote)
    assert (low if not frame.remote else 0) <= len(frame.payload) <= high
    assert frame.dlc <= 8 or frame.remote or high == 8


def test_flips_shrink_to_few_and_early_ones():
    assert simplest(flip_sets(n_bits=50)) == frozenset()
    assert simplest(flip_sets(n_bits=50, min_flips=2)) == {0, 1}
    assert simplest(flip_sets(n_bits=50), lambda flips: any(flip > 30 for flip in flips)) == {31}
    assert simplest(burst_sets(n_bits=50, max_length=9)) == {0}
    assert simplest(burst_sets(n_bits=50, max_length=9), lambda flips: max(flips) - min(flips) == 8) == {0, 8}
    assert simplest(disturbances(n_bits=50, max_flips=4)) == {0}
    assert simplest(wires()) == bitarray()
    assert simplest(wires(min_size=3), lambda wire: wire.any()) == bitarray("001")


@given(st.data(), st.integers(1, 200), st.integers(1, 200))
@settings(suppress_health_check=[HealthCheck.too_slow])
def test_flips_keep_to_their_bounds(data, one, other):
    few, n_bits = min(one, other), max(one, other)
    flips = data.draw(flip_sets(n_bits=n_bits, max_flips=few))
    assert len(flips) <= few
    assert flips <= set(range(n_bits))
    burst = data.draw(burst_sets(n_bits=n_bits, max_length=few))
    assert burst
    assert burst <= set(range(n_bits))
    assert max(burst) - min(burst) < few
    assert 1 <= len(data.draw(disturbances(n_bits=n_bits, max_flips=few))) <= few
    assert few <= len(data.draw(wires(min_size=few, max_size=n_bits))) <= n_bits


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: can_frames(min_size=9), "min_size=9: must lie in 0..8"),
        (lambda: can_frames(min_size=4, max_size=3), "max_size=3: must lie in 4..8"),
        (lambda: can_frames(min_size=1, remote=True), "min_size=1: must be 0 for remote frames"),
        (lambda: can_frames(extended=1), "extended=1: expected bool or None"),
        (lambda: can_frames(remote="no"), "remote='no': expected bool or None"),
        (lambda: can_frames(max_size=2.0), "max_size=2.0: expected int"),
        (lambda: flip_sets(n_bits=0), "n_bits=0: must lie in 1..1048576"),
        (lambda: flip_sets(n_bits=4, max_flips=5), "max_flips=5: must lie in 0..4"),
        (lambda: flip_sets(n_bits=4, min_flips=3, max_flips=2), "max_flips=2: must lie in 3..4"),
        (lambda: burst_sets(n_bits=4, max_length=5), "max_length=5: must lie in 1..4"),
        (lambda: disturbances(n_bits=4, max_flips=0), "max_flips=0: must lie in 1..4"),
        (lambda: wires(min_size=3, max_size=2), "max_size=2: must lie in 3..1048576"),
    ],
)
def test_a_strategy_refuses_bounds_that_cannot_be_met(call, words):
    with pytest.raises(fs.BadArgument) as caught:
        call()
    assert str(caught.value).startswith(words)


def test_every_strategy_is_listed_and_named_as_a_plural():
    public = {name for name in vars(strategies) if not name.startswith("_") and callable(vars(strategies)[name])}
    assert public == set(strategies.__all__)
    assert list(strategies.__all__) == sorted(strategies.__all__)
    assert all(name.endswith("s") for name in strategies.__all__)
