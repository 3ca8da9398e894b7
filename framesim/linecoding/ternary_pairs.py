"""Three bits as a pair of ternary symbols; the ninth pair, (0, 0), carries no data and so marks starts and ends.

Source: IEEE 802.3bw-2015 (100BASE-T1) 96.3, mapping of three bits to ternary pairs (from memory).
"""

__all__ = ["BITS_OF", "NO_DATA", "PAIRS"]

#: the pair for each three-bit number
PAIRS: tuple[tuple[int, int], ...] = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))

BITS_OF: dict[tuple[int, int], int] = {pair: bits for bits, pair in enumerate(PAIRS)}

NO_DATA = (0, 0)
