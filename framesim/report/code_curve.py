"""P(undetected) against the bit error ratio, as a table that anything can plot."""

from typing import Any

from framesim.codes.crc import Crc
from framesim.codes.undetected import precise_probability

__all__ = ["curve_csv"]

_DECADES = 9
_PER_DECADE = 10
_DIGITS = 15


def curve_csv(code: Crc, data_bits: int) -> str:
    """Return lines of comma-separated values, ten ratios a decade from 1e-9 to 1/2.

    Columns: the bit error ratio; the exact P(undetected); the same in units of 2^-width; the share among words
    with at least one flip. Values may be smaller than what a float can hold.

    Raises:
        BadArgument: an argument out of range.
        NotFeasible: the code is too wide and too long.
    """
    import mpmath

    library: Any = mpmath
    lines = ["bit_error_ratio,undetected_probability,times_2_to_width,undetected_per_hit_word"]
    # a ratio is rounded before it is used, so that the values belong to exactly what the table shows
    steps = range((_DECADES - 1) * _PER_DECADE + 7)
    ratios = [float(f"{10 ** (step / _PER_DECADE - _DECADES):.4g}") for step in steps]
    for ratio in (*ratios, 0.5):
        value = precise_probability(code, data_bits, ratio)
        hit = -library.expm1((data_bits + code.width) * library.log1p(-ratio))
        numbers = (value, library.ldexp(value, code.width), value / hit)
        lines.append(
            ",".join([f"{ratio:g}", *(library.nstr(number, _DIGITS, min_fixed=0, max_fixed=0) for number in numbers)])
        )
    return "\n".join(lines) + "\n"
