"""Hypothesis strategies for CAN XL, whose format is provisional."""

from hypothesis import strategies as st

from framesim.errors import check_range
from framesim.networks.can_xl import CanXlFrame

__all__ = ["can_xl_frames"]


def can_xl_frames(*, min_size: int = 1, max_size: int = 2048) -> st.SearchStrategy[CanXlFrame]:
    """Any valid CAN XL frame. They shrink to one payload byte 0, all other fields 0.

    Args:
        min_size: fewest payload bytes.
        max_size: most payload bytes.

    Raises:
        BadArgument: a bound out of range.
    """
    check_range("min_size", min_size, 1, 2048, base="d")
    check_range("max_size", max_size, min_size, 2048, base="d")
    return st.builds(
        CanXlFrame,
        identifier=st.integers(0, 0x7FF),
        payload=st.binary(min_size=min_size, max_size=max_size),
        sdu_type=st.integers(0, 0xFF),
        simple_extended_content=st.booleans(),
        virtual_network=st.integers(0, 0xFF),
        acceptance=st.integers(0, 0xFFFF_FFFF),
        remote_request_substitution=st.booleans(),
    )
