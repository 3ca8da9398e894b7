"""Hypothesis strategies for frames and for what happens to them: public, for tests of your own codec.

Plural nouns, keyword-only bounds, every argument checked, no likelihood knobs; each docstring says what the
values shrink to.
"""

from framesim.strategies.can import can_frames
from framesim.strategies.can_fd import can_fd_frames
from framesim.strategies.can_xl import can_xl_frames
from framesim.strategies.ethernet import ethernet_frames
from framesim.strategies.flexray import flexray_frames
from framesim.strategies.flips import burst_sets, disturbances, flip_sets, wires
from framesim.strategies.lin import lin_frames
from framesim.strategies.sent import sent_frames

__all__ = [
    "burst_sets",
    "can_fd_frames",
    "can_frames",
    "can_xl_frames",
    "disturbances",
    "ethernet_frames",
    "flexray_frames",
    "flip_sets",
    "lin_frames",
    "sent_frames",
    "wires",
]
