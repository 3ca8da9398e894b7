"""Laws that hold for every CRC, named or not."""

from bitarray import bitarray
from hypothesis import given
from hypothesis import strategies as st

from framesim.codes import Crc, crc, names
from framesim.codes.register import serial_register, table_register, table_register_bytes

bit_lists = st.lists(st.integers(0, 1), max_size=120)


@st.composite
def crcs(draw: st.DrawFn) -> Crc:
    width = draw(st.integers(1, 64))
    value = st.integers(0, (1 << width) - 1)
    return Crc(
        name="drawn",
        width=width,
        polynomial=draw(value) | 1,
        initial=draw(value),
        reflected_in=draw(st.booleans()),
        reflected_out=draw(st.booleans()),
        xor_out=draw(value),
    )


any_crc = st.sampled_from([crc(name) for name in names()]) | crcs()


@given(code=any_crc, bits=bit_lists)
def test_the_table_gives_what_the_shift_register_gives(code: Crc, bits: list[int]) -> None:
    by_definition = serial_register(bits, code.width, code.polynomial, code.initial)
    assert code.register_after(bits) == by_definition
    assert code.register_after(bitarray(bits, endian="big")) == by_definition
    assert code.register_after(bitarray(bits, endian="little")) == by_definition
    assert code.register_after(iter(bits)) == by_definition


@given(code=any_crc, data=st.binary(max_size=40))
def test_bytes_are_bits_in_the_order_the_record_says(code: Crc, data: bytes) -> None:
    bits = bitarray(endian="little" if code.reflected_in else "big")
    bits.frombytes(data)
    assert code.of_bytes(data) == code.of(bits)
    straight = bitarray(endian="big")
    straight.frombytes(data)
    start = code.initial
    assert table_register_bytes(data, code.width, code.polynomial, start) == table_register(
        straight, code.width, code.polynomial, start
    )


@given(code=any_crc, bits=bit_lists, more=bit_lists)
def test_a_message_may_be_fed_in_pieces(code: Crc, bits: list[int], more: list[int]) -> None:
    assert code.register_after(more, start=code.register_after(bits)) == code.register_after(bits + more)


@given(code=any_crc, bits=bit_lists)
def test_data_with_its_sequence_is_accepted_and_any_single_flip_is_not(code: Crc, bits: list[int]) -> None:
    word = bitarray(bits) + code.sequence(bits)
    assert code.accepts(word)
    for position in range(0, len(word), 7):
        word.invert(position)
        assert not code.accepts(word)
        word.invert(position)


@given(code=any_crc, pairs=st.lists(st.tuples(st.integers(0, 1), st.integers(0, 1)), max_size=100))
def test_the_register_is_linear(code: Crc, pairs: list[tuple[int, int]]) -> None:
    first, second = [a for a, _ in pairs], [b for _, b in pairs]
    total = [a ^ b for a, b in pairs]
    nothing = [0] * len(pairs)
    assert code.of(total) ^ code.of(nothing) == code.of(first) ^ code.of(second)


@given(code=any_crc, bits=bit_lists)
def test_the_register_is_the_remainder_of_long_division(code: Crc, bits: list[int]) -> None:
    number = 0
    for bit in bits:
        number = number << 1 | bit
    number = (number << code.width) ^ (code.initial << len(bits))
    while number.bit_length() > code.width:
        number ^= code.generator << (number.bit_length() - code.width - 1)
    assert code.register_after(bits) == number
