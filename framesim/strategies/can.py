"""Hypothesis strategies for classic CAN."""

from hypothesis import strategies as st

from framesim.errors import BadArgument, check_range
from framesim.networks.can import CanFrame

__all__ = ["can_frames"]


def can_frames(
    *, extended: bool | None = None, remote: bool | None = None, min_size: int = 0, max_size: int = 8
) -> st.SearchStrategy[CanFrame]:
    """Any valid classic CAN frame. They shrink to the data frame with identifier 0, 11 bits, and no payload.

    Args:
        extended: only 29-bit identifiers, or only 11-bit ones; None: both.
        remote: only remote frames, or only data frames; None: both, as far as ``min_size`` allows.
        min_size: fewest payload bytes.
        max_size: most payload bytes; with 8, length codes 9 to 15 occur too.

    Raises:
        BadArgument: a bound out of range, or a payload asked of remote frames.
    """
    for name, flag in (("extended", extended), ("remote", remote)):
        if flag is not None and type(flag) is not bool:
            raise BadArgument(f"{name}={flag!r}: expected bool or None")
    check_range("min_size", min_size, 0, 8, base="d")
    check_range("max_size", max_size, min_size, 8, base="d")
    if remote and min_size:
        raise BadArgument(f"min_size={min_size}: must be 0 for remote frames, which carry no payload")
    kinds: list[st.SearchStrategy[CanFrame]] = []
    for wide in (False, True) if extended is None else (extended,):
        identifiers = st.integers(0, 0x1FFF_FFFF if wide else 0x7FF)
        if not remote:
            payloads = st.binary(min_size=min_size, max_size=max_size)
            kinds.append(st.builds(CanFrame, identifier=identifiers, payload=payloads, extended=st.just(wide)))
        if not remote and max_size == 8:
            payloads, codes = st.binary(min_size=8, max_size=8), st.integers(9, 15)
            kinds.append(
                st.builds(CanFrame, identifier=identifiers, payload=payloads, extended=st.just(wide), dlc=codes)
            )
        if remote or (remote is None and min_size == 0):
            codes = st.integers(0, 15)
            kinds.append(
                st.builds(CanFrame, identifier=identifiers, extended=st.just(wide), remote=st.just(True), dlc=codes)
            )
    return st.one_of(kinds)
