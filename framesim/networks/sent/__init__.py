"""SENT: frames as ticks, and as pulse widths with fractions of ticks."""

from framesim.networks.sent.edges import receive_widths, widths_of, with_edges_moved
from framesim.networks.sent.format import CRC_FORMS, SENT, SentFrame, network_for

__all__ = [
    "CRC_FORMS",
    "SENT",
    "SentFrame",
    "network_for",
    "receive_widths",
    "widths_of",
    "with_edges_moved",
]
