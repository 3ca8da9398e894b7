"""Rules that shape bits for the wire: stuffing, start and stop bits, byte starts, block codes."""
