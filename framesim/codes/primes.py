"""Prime factors of numbers below 2^64, needed for the order of x modulo a generator."""

from math import gcd

__all__ = ["is_prime", "prime_factors"]

#: enough witnesses for every number below 3.3e24 (Sorenson & Webster, Mathematics of Computation 86, 2017)
_WITNESSES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41)


def is_prime(number: int) -> bool:
    """Return whether ``number`` is prime, by strong pseudoprime tests that are conclusive in this range."""
    if number < 2:
        return False
    for witness in _WITNESSES:
        if number % witness == 0:
            return number == witness
    odd, twos = number - 1, 0
    while odd % 2 == 0:
        odd, twos = odd // 2, twos + 1
    for witness in _WITNESSES:
        power = pow(witness, odd, number)
        if power in (1, number - 1):
            continue
        for _ in range(twos - 1):
            power = power * power % number
            if power == number - 1:
                break
        else:
            return False
    return True


def _proper_divisor(number: int) -> int:
    """Return a divisor other than 1 and ``number`` of a composite number (Pollard's rho)."""
    if number % 2 == 0:
        return 2
    step = 0
    while True:
        step += 1
        slow = fast = 2
        divisor = 1
        while divisor == 1:
            slow = (slow * slow + step) % number
            fast = (fast * fast + step) % number
            fast = (fast * fast + step) % number
            divisor = gcd(abs(slow - fast), number)
        if divisor != number:
            return divisor


def prime_factors(number: int) -> tuple[int, ...]:
    """Return the distinct primes that divide ``number``, ascending.

    >>> prime_factors(2**15 - 1)
    (7, 31, 151)
    """
    if number == 1:
        return ()
    if is_prime(number):
        return (number,)
    divisor = _proper_divisor(number)
    return tuple(sorted({*prime_factors(divisor), *prime_factors(number // divisor)}))
