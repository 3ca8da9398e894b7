"""Hypothesis strategies for Ethernet."""

from typing import Any

from hypothesis import strategies as st

from framesim.errors import BadArgument, check_range
from framesim.networks.ethernet.frame import FIRST_TYPE, MOST_DATA, TAG_TYPE, EthernetFrame

__all__ = ["ethernet_frames"]


def ethernet_frames(
    *, tagged: bool | None = None, min_size: int = 0, max_size: int = MOST_DATA
) -> st.SearchStrategy[EthernetFrame]:
    """Any valid Ethernet frame. They shrink to zero addresses, no tag, the shortest payload, and its length.

    Args:
        tagged: only frames with a VLAN tag, or only frames without; None: both.
        min_size: fewest payload bytes, before a short payload is filled up.
        max_size: most payload bytes, before a short payload is filled up.

    Raises:
        BadArgument: a bound out of range.
    """
    if tagged is not None and type(tagged) is not bool:
        raise BadArgument(f"tagged={tagged!r}: expected bool or None")
    check_range("min_size", min_size, 0, MOST_DATA, base="d")
    check_range("max_size", max_size, min_size, MOST_DATA, base="d")
    addresses = st.binary(min_size=6, max_size=6)
    shared: dict[str, Any] = {
        "destination": addresses,
        "source": addresses,
        "payload": st.binary(min_size=min_size, max_size=max_size),
    }
    tag: dict[str, Any] = {
        "vlan": st.integers(0, 0xFFF),
        "priority": st.integers(0, 7),
        "drop_eligible": st.booleans(),
    }
    types = st.integers(FIRST_TYPE, 0xFFFF)
    kinds: list[st.SearchStrategy[EthernetFrame]] = []
    if tagged is not True:
        kinds.append(st.builds(_with_length, **shared))
        kinds.append(st.builds(EthernetFrame, **shared, ethertype=types.filter(_is_no_tag)))
    if tagged is not False:
        kinds.append(st.builds(_with_length, **shared, **tag))
        kinds.append(st.builds(EthernetFrame, **shared, **tag, ethertype=types))
    return st.one_of(kinds)


def _is_no_tag(ethertype: int) -> bool:
    return ethertype != TAG_TYPE


def _with_length(*, payload: bytes, **values: Any) -> EthernetFrame:
    """Return a frame whose length/type field holds the payload's length."""
    return EthernetFrame(ethertype=len(payload), payload=payload, **values)
