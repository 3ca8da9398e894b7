"""Random cases driven by hypothesis, whose shrinking leaves the simplest case that fails in a new way."""

import random
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from framesim.challenge.case import Case, Recipe, decode_case, encode_case, sent_by

if TYPE_CHECKING:
    from hypothesis.strategies import SearchStrategy

__all__ = ["case_strategy", "find_case", "frame_strategy"]


def frame_strategy(network: str) -> "SearchStrategy[Any]":
    """Return the frames of a network, or of one configuration of it."""
    from framesim import strategies as st

    base, _, rest = network.partition("-") if network.startswith("flexray") else (network, "", "")
    made: dict[str, Callable[[], SearchStrategy[Any]]] = {
        "can": st.can_frames,
        "can-fd": lambda: st.can_fd_frames(iso=True),
        "can-fd-original": lambda: st.can_fd_frames(iso=False),
        "can-xl": lambda: st.can_xl_frames(max_size=64),
        "lin": st.lin_frames,
        "flexray": lambda: st.flexray_frames(
            channel="B" if rest.startswith("b") else "A", dynamic=rest.endswith("dynamic"), max_size=64
        ),
        "ethernet": lambda: st.ethernet_frames(max_size=100),
        "sent": st.sent_frames,
    }
    return made[base]()


def case_strategy(network: str, mode: str) -> "SearchStrategy[Case]":
    """Return the cases of a network: frames as sent, flipped, cut short, or followed by bits of any kind."""
    from hypothesis import strategies as st

    frames = frame_strategy(network)
    if mode == "encode":
        return frames.map(lambda frame: encode_case(network, frame, origin="random"))

    def spoil(frame: Any, flips: frozenset[int], keep: int | None, tail: str) -> Case:
        sent = sent_by(network, frame)
        places = tuple(sorted({flip % len(sent) for flip in flips}))
        kept = None if keep is None else keep % len(sent)
        recipe = Recipe(frame=frame, flips=places, keep=kept, tail=tail)
        return decode_case(network, recipe, sent=sent, origin="random")

    return st.builds(
        spoil,
        frames,
        st.frozensets(st.integers(0, 399), max_size=4),
        st.none() | st.integers(0, 399),
        st.text(st.sampled_from("01"), max_size=20),
    )


def find_case(network: str, mode: str, fails: Callable[[Case], bool], *, seed: int, examples: int) -> Case | None:
    """Return the simplest case that hypothesis finds failing, or None if none of so many examples fails.

    The same arguments give the same case: nothing is read from or written to a store of earlier examples.
    """
    from hypothesis import HealthCheck, Phase, find, settings
    from hypothesis.errors import NoSuchExample

    try:
        return find(
            case_strategy(network, mode),
            fails,
            settings=settings(
                max_examples=examples,
                database=None,
                deadline=None,
                phases=(Phase.generate, Phase.shrink),
                suppress_health_check=list(HealthCheck),
            ),
            random=random.Random(seed),
        )
    except NoSuchExample:
        return None
