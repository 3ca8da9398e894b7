"""Polynomials over GF(2), written as integers: bit ``i`` is the coefficient of x^i."""

from collections import Counter
from functools import lru_cache
from math import lcm

from framesim.codes.primes import prime_factors

__all__ = [
    "common_divisor",
    "divided",
    "factors",
    "has_even_weights_only",
    "is_primitive",
    "order_of_x",
    "power_of_x",
    "product",
    "spelt",
    "times",
]


def divided(number: int, by: int) -> tuple[int, int]:
    """Return quotient and remainder.

    >>> divided(0b1011, 0b11)
    (6, 1)
    """
    quotient = 0
    top = by.bit_length()
    while number.bit_length() >= top:
        shift = number.bit_length() - top
        quotient |= 1 << shift
        number ^= by << shift
    return quotient, number


def product(left: int, right: int) -> int:
    """Return the product."""
    total = 0
    while right:
        if right & 1:
            total ^= left
        left <<= 1
        right >>= 1
    return total


def times(left: int, right: int, modulus: int) -> int:
    """Return the product modulo ``modulus``."""
    return divided(product(left, right), modulus)[1]


def power_of_x(exponent: int, modulus: int) -> int:
    """Return ``x^exponent`` modulo ``modulus``."""
    power, square = divided(1, modulus)[1], divided(0b10, modulus)[1]
    while exponent:
        if exponent & 1:
            power = times(power, square, modulus)
        square = times(square, square, modulus)
        exponent >>= 1
    return power


def common_divisor(left: int, right: int) -> int:
    """Return the greatest common divisor."""
    while right:
        left, right = right, divided(left, right)[1]
    return left


def _derivative(polynomial: int) -> int:
    # The term x^i becomes i·x^(i-1): odd powers move down one place, even powers vanish.
    odd_places = int("10" * (polynomial.bit_length() // 2 + 1), 2)
    return (polynomial & odd_places) >> 1


def _square_root(square: int) -> int:
    return int(f"{square:b}"[::-1][::2][::-1], 2)


def _fixed_by_squaring(polynomial: int) -> int | None:
    """Return a b, not constant, with b^2 = b modulo a square-free polynomial, or None (Berlekamp).

    Such a b is 0 or 1 modulo each irreducible factor, so gcd(polynomial, b) splits the polynomial.
    """
    degree = polynomial.bit_length() - 1
    rows: list[tuple[int, int]] = []  # (image under b -> b^2 + b, b), echelon form by the image's top bit
    for place in range(degree):
        origin = 1 << place
        image = power_of_x(2 * place, polynomial) ^ origin
        for other_image, other_origin in rows:
            if image ^ other_image < image:
                image, origin = image ^ other_image, origin ^ other_origin
        if image:
            rows.append((image, origin))
            rows.sort(reverse=True)
        elif origin > 1:
            return origin
    return None


@lru_cache(maxsize=256)
def factors(polynomial: int) -> tuple[tuple[int, int], ...]:
    """Return the irreducible factors with their multiplicities, ascending.

    >>> factors(0b101)  # x^2 + 1 = (x + 1)^2
    ((3, 2),)
    """
    found: Counter[int] = Counter()
    rest = [polynomial]
    while rest:
        part = rest.pop()
        if part.bit_length() <= 1:
            continue
        slope = _derivative(part)
        if slope == 0:
            rest += [_square_root(part)] * 2
            continue
        repeated = common_divisor(part, slope)
        if repeated == 1:
            splitter = _fixed_by_squaring(part)
            if splitter is None:
                found[part] += 1
                continue
            repeated = common_divisor(part, splitter)
        rest += [repeated, divided(part, repeated)[0]]
    return tuple(sorted(found.items()))


@lru_cache(maxsize=256)
def order_of_x(polynomial: int) -> int:
    """Return the smallest e > 0 with x^e = 1 modulo ``polynomial``, whose constant term must be 1.

    The first length at which two flips pass unseen is e + 1.

    >>> order_of_x(0b1011)
    7
    """
    order = 1
    for factor, multiplicity in factors(polynomial):
        part = (1 << (factor.bit_length() - 1)) - 1
        for prime in prime_factors(part):
            while part % prime == 0 and power_of_x(part // prime, factor) == 1:
                part //= prime
        # modulo f^m the order is that modulo f, times the smallest power of two that reaches m
        order = lcm(order, part << (multiplicity - 1).bit_length())
    return order


def is_primitive(polynomial: int) -> bool:
    """Return whether x runs through all non-zero remainders."""
    return order_of_x(polynomial) == (1 << (polynomial.bit_length() - 1)) - 1 and factors(polynomial) == (
        (polynomial, 1),
    )


def has_even_weights_only(polynomial: int) -> bool:
    """Return whether x + 1 divides ``polynomial``, so that every odd number of flips is caught."""
    return polynomial.bit_count() % 2 == 0


def spelt(polynomial: int) -> str:
    """Return the polynomial as people write it.

    >>> spelt(0b10011)
    'x^4 + x + 1'
    """
    words = {0: "1", 1: "x"}
    places = [place for place in range(polynomial.bit_length() - 1, -1, -1) if polynomial >> place & 1]
    return " + ".join(words.get(place, f"x^{place}") for place in places) or "0"
