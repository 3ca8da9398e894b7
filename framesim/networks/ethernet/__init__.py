"""Automotive Ethernet: the MAC frame, 100BASE-T1's symbols, and UDP over IPv4 in the payload."""

from framesim.networks.ethernet.format import ETHERNET
from framesim.networks.ethernet.frame import EthernetFrame
from framesim.networks.ethernet.line import TernaryFrame, encode_symbols
from framesim.networks.ethernet.line_receiver import LineReceiver, receive_symbols
from framesim.networks.ethernet.udp import UdpDatagram, read_datagram

__all__ = [
    "ETHERNET",
    "EthernetFrame",
    "LineReceiver",
    "TernaryFrame",
    "UdpDatagram",
    "encode_symbols",
    "read_datagram",
    "receive_symbols",
]
