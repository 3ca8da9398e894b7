"""Hypothesis strategies for LIN."""

from hypothesis import strategies as st

from framesim.errors import check_range
from framesim.networks.lin import CHECKSUMS, LinFrame, check_checksum

__all__ = ["lin_frames"]


def lin_frames(
    *,
    checksum: str | None = None,
    min_identifier: int = 0,
    max_identifier: int = 63,
    min_size: int = 1,
    max_size: int = 8,
) -> st.SearchStrategy[LinFrame]:
    """Any valid LIN frame. They shrink to the smallest identifier, one zero byte, and the classic checksum.

    Args:
        checksum: only ``"classic"``, or only ``"enhanced"`` where the identifier allows it; None: both.
        min_identifier: smallest identifier.
        max_identifier: largest identifier; from 60 on the checksum is classic.
        min_size: fewest payload bytes.
        max_size: most payload bytes.

    Raises:
        BadArgument: a bound out of range, or no such checksum.
    """
    check_range("min_identifier", min_identifier, 0, 63, base="d")
    check_range("max_identifier", max_identifier, min_identifier, 63, base="d")
    check_range("min_size", min_size, 1, 8, base="d")
    check_range("max_size", max_size, min_size, 8, base="d")
    if checksum is not None:
        check_checksum("checksum", checksum)
    return st.builds(
        LinFrame,
        identifier=st.integers(min_identifier, max_identifier),
        payload=st.binary(min_size=min_size, max_size=max_size),
        checksum=st.sampled_from(CHECKSUMS) if checksum is None else st.just(checksum),
    )
