"""A receiver that knows which slot of the schedule it listens in.

On the bus every receiver does: a frame whose slot, cycle or static length is not the one scheduled is a
content error (FlexRay Protocol Specification 3.0.1, chapter 6, frame and symbol processing; from memory). The
bare network knows no schedule and takes any slot; this adds the schedule's demands to it.
"""

from dataclasses import replace

from framesim.errors import check_range
from framesim.networks.layout import Rule
from framesim.networks.network import Network
from framesim.words import Check

__all__ = ["in_slot"]


def in_slot(network: Network, *, frame_id: int, cycle: int | None = None, payload_bytes: int | None = None) -> Network:
    """Return ``network`` as it listens in one slot: other frames are refused when they are over.

    Args:
        network: one of the FlexRay networks.
        frame_id: the slot; another frame ID speaks as ``timing``.
        cycle: the cycle counter, 0..63; another count speaks as ``timing``. None: not compared.
        payload_bytes: what static frames of this cluster carry; another size speaks as ``length``. None: any.

    Raises:
        BadArgument: a value out of range.
    """
    check_range("frame_id", frame_id, 1, 2047, base="d")
    rules = [
        Rule(check=Check.TIMING, at_end_of="FES", clause="6: frame ID is the slot counter",
             holds=lambda view: view.values["frame ID"] == frame_id),
    ]  # fmt: skip
    if cycle is not None:
        check_range("cycle", cycle, 0, 63, base="d")
        rules.append(
            Rule(check=Check.TIMING, at_end_of="FES", clause="6: cycle count is the cycle counter",
                 holds=lambda view: view.values["cycle count"] == cycle),
        )  # fmt: skip
    if payload_bytes is not None:
        check_range("payload_bytes", payload_bytes, 0, 254, base="d")
        rules.append(
            Rule(check=Check.LENGTH, at_end_of="FES", clause="6: payload length is gPayloadLengthStatic",
                 holds=lambda view: 2 * view.values["payload length"] == payload_bytes),
        )  # fmt: skip
    return replace(network, layout=replace(network.layout, rules=(*network.layout.rules, *rules)))
