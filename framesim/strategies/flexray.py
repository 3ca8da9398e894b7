"""Hypothesis strategies for FlexRay."""

from hypothesis import strategies as st

from framesim.errors import BadArgument, check_range
from framesim.networks.flexray.frame import CHANNELS, FlexRayFrame

__all__ = ["flexray_frames"]


def flexray_frames(
    *, channel: str | None = None, dynamic: bool | None = None, min_size: int = 0, max_size: int = 254
) -> st.SearchStrategy[FlexRayFrame]:
    """Any valid FlexRay frame. They shrink to the plain static frame of slot 1, cycle 0, without payload.

    Args:
        channel: only ``"A"``, or only ``"B"``; None: both.
        dynamic: only frames of the dynamic segment, or only of the static one; None: both.
        min_size: fewest payload bytes; an odd bound counts as the next even number.
        max_size: most payload bytes; an odd bound counts as the even number before.

    Raises:
        BadArgument: no such channel, or a bound out of range.
    """
    if channel is not None and channel not in CHANNELS:
        raise BadArgument(f"channel={channel!r}: must be 'A', 'B' or None")
    if dynamic is not None and type(dynamic) is not bool:
        raise BadArgument(f"dynamic={dynamic!r}: expected bool or None")
    check_range("min_size", min_size, 0, 254, base="d")
    least = min_size + min_size % 2
    check_range("max_size", max_size, least, 254, base="d")
    channels = st.sampled_from(CHANNELS) if channel is None else st.just(channel)
    payloads = st.binary(min_size=least, max_size=max_size).map(_even)
    shared = {
        "frame_id": st.integers(1, 2047),
        "cycle": st.integers(0, 63),
        "channel": channels,
        "preamble_indicator": st.booleans(),
    }
    roles = ((False, False), (True, False), (True, True)) if dynamic is not True else ()
    kinds = [
        st.builds(FlexRayFrame, payload=contents, sync=st.just(sync), startup=st.just(startup), null=nulls, **shared)
        for contents, nulls in (
            (payloads, st.just(False)),
            (payloads.map(_zeros), st.just(True)),
        )
        for sync, startup in roles
    ]
    if dynamic is not False:
        kinds.append(st.builds(FlexRayFrame, payload=payloads, dynamic=st.just(True), **shared))
    return st.one_of(kinds)


def _even(payload: bytes) -> bytes:
    return payload[: len(payload) // 2 * 2]


def _zeros(payload: bytes) -> bytes:
    return bytes(len(payload))
