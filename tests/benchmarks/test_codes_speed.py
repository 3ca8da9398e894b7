"""How long the algebra of CRCs takes. Run by hand: pytest tests/benchmarks/test_codes_speed.py --benchmark-only.

Compiled loops are compiled before the clock starts; a thread more or less changes the 32-bit figures.
"""

import pytest
from bitarray import bitarray

from framesim.codes import crc, distance
from framesim.codes.distance import distance_table
from framesim.codes.dual import dual_weights
from framesim.codes.lookup import count_words
from framesim.codes.macwilliams import transformed

pytestmark = pytest.mark.slow

ETHERNET = crc("CRC-32/ETHERNET")
FLEXRAY = crc("CRC-24/FLEXRAY-A")


def _warm(benchmark, function, *arguments, rounds=1):
    function(*arguments)
    return benchmark.pedantic(function, args=arguments, rounds=rounds)


def test_crc_15_of_83_bits(benchmark):
    bits = bitarray("01" * 41 + "1")
    assert benchmark(crc("CRC-15/CAN").of, bits) < 1 << 15


def test_crc_32_of_an_ethernet_frame(benchmark):
    assert benchmark(ETHERNET.of_bytes, bytes(range(256)) * 6) < 1 << 32


def test_four_flips_of_crc_32_at_12112_data_bits(benchmark):
    assert _warm(benchmark, count_words, ETHERNET.generator, 12144, 4, rounds=5) == 223059


def _all_weights(code, length):
    dual_weights.cache_clear()
    return transformed(dual_weights(code.generator, length), length, 6)


@pytest.mark.parametrize("length", [300, 12144])
def test_all_weights_of_crc_32(benchmark, length):
    assert sum(_warm(benchmark, _all_weights, ETHERNET, length)) > 1


@pytest.mark.parametrize("length", [128, 2096, 30000])
def test_all_weights_of_crc_24(benchmark, length):
    assert sum(_warm(benchmark, _all_weights, FLEXRAY, length, rounds=5)) > 1


def _table():
    distance.found_so_far.clear()
    return distance_table(ETHERNET, 6)


def test_distances_of_crc_32_down_to_six(benchmark):
    assert _warm(benchmark, _table, rounds=3)[6] == 268


def test_the_worst_case_of_crc_24_at_254_bytes(benchmark):
    assert _warm(benchmark, FLEXRAY.worst_case, 2072).bounded
