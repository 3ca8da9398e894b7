"""Hypothesis strategies for CAN FD."""

from hypothesis import strategies as st

from framesim.errors import BadArgument, check_range
from framesim.networks.can_fd import LENGTHS, CanFdFrame

__all__ = ["can_fd_frames"]


def can_fd_frames(
    *, extended: bool | None = None, iso: bool | None = True, min_size: int = 0, max_size: int = 64
) -> st.SearchStrategy[CanFdFrame]:
    """Any valid CAN FD frame. They shrink to identifier 0, 11 bits, no payload, all flags off.

    Args:
        extended: only 29-bit identifiers, or only 11-bit ones; None: both.
        iso: only the ISO format, or only the original one; None: both.
        min_size: fewest payload bytes.
        max_size: most payload bytes. Only the lengths in between that a data length code stands for occur.

    Raises:
        BadArgument: a bound out of range, or no such length between the bounds.
    """
    for name, flag in (("extended", extended), ("iso", iso)):
        if flag is not None and type(flag) is not bool:
            raise BadArgument(f"{name}={flag!r}: expected bool or None")
    check_range("min_size", min_size, 0, 64, base="d")
    check_range("max_size", max_size, min_size, 64, base="d")
    sizes = [size for size in LENGTHS if min_size <= size <= max_size]
    if not sizes:
        raise BadArgument(f"max_size={max_size}: no data length code stands for {min_size} to {max_size} bytes")
    payloads = st.one_of([st.binary(min_size=size, max_size=size) for size in sizes])
    return st.one_of(
        [
            st.builds(
                CanFdFrame,
                identifier=st.integers(0, 0x1FFF_FFFF if wide else 0x7FF),
                payload=payloads,
                extended=st.just(wide),
                bit_rate_switch=st.booleans(),
                error_state=st.booleans(),
                iso=st.sampled_from((True, False)) if iso is None else st.just(iso),
            )
            for wide in ((False, True) if extended is None else (extended,))
        ]
    )
