"""Hypothesis strategies for what can happen to bits on the wire."""

from bitarray import bitarray
from hypothesis import strategies as st

from framesim.errors import check_range

__all__ = ["burst_sets", "disturbances", "flip_sets", "wires"]

LONGEST = 1 << 20


def flip_sets(*, n_bits: int, min_flips: int = 0, max_flips: int | None = None) -> st.SearchStrategy[frozenset[int]]:
    """Sets of wire bits to invert, anywhere on a wire. They shrink to fewer flips, then to earlier ones.

    Args:
        n_bits: length of the wire; positions lie in ``0..n_bits - 1``.
        min_flips: fewest flips.
        max_flips: most flips; None: no bound but ``n_bits``.

    Raises:
        BadArgument: a bound that no set can meet.
    """
    check_range("n_bits", n_bits, 1, LONGEST, base="d")
    check_range("min_flips", min_flips, 0, n_bits, base="d")
    if max_flips is not None:
        check_range("max_flips", max_flips, min_flips, n_bits, base="d")
    return st.frozensets(st.integers(0, n_bits - 1), min_size=min_flips, max_size=max_flips)


def burst_sets(*, n_bits: int, max_length: int) -> st.SearchStrategy[frozenset[int]]:
    """Sets of wire bits to invert, all within ``max_length`` bits; at least one. They shrink to ``{0}``.

    Raises:
        BadArgument: a length below 1 or above ``n_bits``.
    """
    check_range("n_bits", n_bits, 1, LONGEST, base="d")
    check_range("max_length", max_length, 1, n_bits, base="d")
    return st.builds(
        lambda first, offsets: frozenset(min(first + offset, n_bits - 1) for offset in offsets | {0}),
        st.integers(0, n_bits - 1),
        st.frozensets(st.integers(0, max_length - 1)),
    )


def disturbances(*, n_bits: int, max_flips: int) -> st.SearchStrategy[frozenset[int]]:
    """Sets of 1 to ``max_flips`` wire bits to invert, scattered or in a burst. They shrink to ``{0}``.

    Raises:
        BadArgument: ``max_flips`` outside ``1..n_bits``.
    """
    check_range("n_bits", n_bits, 1, LONGEST, base="d")
    check_range("max_flips", max_flips, 1, n_bits, base="d")
    scattered = flip_sets(n_bits=n_bits, min_flips=1, max_flips=max_flips)
    return st.one_of(scattered, burst_sets(n_bits=n_bits, max_length=max_flips))


def wires(*, min_size: int = 0, max_size: int = 200) -> st.SearchStrategy[bitarray]:
    """Any bits at all, as a receiver may meet them. They shrink to fewer bits, then to zeros.

    Raises:
        BadArgument: a bound below 0, or ``max_size`` below ``min_size``.
    """
    check_range("min_size", min_size, 0, LONGEST, base="d")
    check_range("max_size", max_size, min_size, LONGEST, base="d")
    return st.builds(bitarray, st.text(st.sampled_from("01"), min_size=min_size, max_size=max_size))
