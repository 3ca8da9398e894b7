"""Hypothesis strategies for SENT."""

from hypothesis import strategies as st

from framesim.errors import BadArgument, check_range
from framesim.networks.sent.format import CRC_FORMS, MOST_NIBBLES, SentFrame, check_form

__all__ = ["sent_frames"]


def sent_frames(
    *,
    min_size: int = 1,
    max_size: int = MOST_NIBBLES,
    paused: bool | None = None,
    min_pause: int = 28,
    max_pause: int = 768,
    crc_form: str | None = None,
) -> st.SearchStrategy[SentFrame]:
    """Any valid SENT frame. They shrink to status 0, one zero nibble, no pause pulse, and the recommended CRC.

    Args:
        min_size: fewest data nibbles.
        max_size: most data nibbles.
        paused: only frames with a pause pulse, or only without; None: both.
        min_pause: shortest pause pulse in ticks. Down to 12 is legal, but a pause below 28 looks like a nibble to a
            receiver that does not know of it.
        max_pause: longest pause pulse in ticks.
        crc_form: only ``"recommended"``, or only ``"legacy"``; None: both.

    Raises:
        BadArgument: a bound out of range, or no such form.
    """
    check_range("min_size", min_size, 1, MOST_NIBBLES, base="d")
    check_range("max_size", max_size, min_size, MOST_NIBBLES, base="d")
    check_range("min_pause", min_pause, 12, 768, base="d")
    check_range("max_pause", max_pause, min_pause, 768, base="d")
    if paused is not None and type(paused) is not bool:
        raise BadArgument(f"paused={paused!r}: expected bool or None")
    if crc_form is not None:
        check_form(crc_form)
    nibble = st.integers(0, 15)
    pauses = st.integers(min_pause, max_pause)
    return st.builds(
        SentFrame,
        status=nibble,
        nibbles=st.lists(nibble, min_size=min_size, max_size=max_size).map(tuple),
        pause=pauses if paused else st.none() if paused is False else st.none() | pauses,
        crc_form=st.sampled_from(CRC_FORMS) if crc_form is None else st.just(crc_form),
    )
