"""Options and frame fields are the same thing, whatever the fields are."""

from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import framesim
from framesim.cli.frame_options import add_frame_options, frame_from, frame_options
from framesim.cli.parsing import LineParser, one_line, quoted, whole_number
from framesim.errors import BadArgument


class Colour(StrEnum):
    RED = "red"
    BLUE = "blue"


@dataclass(frozen=True, kw_only=True)
class Sample:
    """A frame with a field of every kind.

    Attributes:
        number: a number, 100 % of
            the time.
        octets: some bytes.
        on: a flag that is on.
        maybe: a number or nothing.
        nibbles: numbers.
        word: ``any`` word.
        level: a real number.
        colour: one of two.
        shape: another of two.

    Nothing that follows belongs to a field: no.
    """

    number: int
    octets: bytes = b""
    on: bool = True
    maybe: int | None = 5
    nibbles: tuple[int, ...] = ()
    word: str = "x"
    level: float = 0.5
    colour: Colour = Colour.RED
    shape: Literal["round", "square"] = "round"


def written(frame):
    """Write a frame's fields as a person would type them."""
    words = []
    for field in fields(frame):
        value, flag = getattr(frame, field.name), field.name.replace("_", "-")
        if isinstance(value, bool):
            words.append(f"--{flag}" if value else f"--no-{flag}")
            continue
        if isinstance(value, bytes):
            text = value.hex(":")
        elif isinstance(value, tuple):
            text = ",".join(map(hex, value))
        else:
            text = "none" if value is None else str(value)
        words.append(f"--{flag}={text}")
    return words


def read(frame_type, words):
    parser = LineParser("test")
    add_frame_options(parser, frame_type)
    return frame_from(parser.read(words), frame_type)


NUMBERS = st.integers(-(2**70), 2**70)
SAMPLES = st.builds(
    Sample,
    number=NUMBERS,
    octets=st.binary(),
    on=st.booleans(),
    maybe=st.one_of(st.none(), NUMBERS),
    nibbles=st.lists(NUMBERS).map(tuple),
    word=st.text(),
    level=st.floats(allow_nan=False),
    colour=st.sampled_from(Colour),
    shape=st.sampled_from(["round", "square"]),
)


@settings(deadline=None)
@given(frame=SAMPLES)
def test_every_kind_of_field_can_be_typed(frame):
    assert read(Sample, written(frame)) == frame


@settings(deadline=None)
@given(identifier=st.integers(0, 0x7FF), payload=st.binary(max_size=8))
def test_every_can_frame_can_be_typed(identifier, payload):
    frame = framesim.CanFrame(identifier=identifier, payload=payload)
    assert read(framesim.CanFrame, written(frame)) == frame


def test_none_is_a_value_only_where_a_field_may_be_none():
    assert read(Sample, ["--number=1", "--maybe=none", "--word=none"]) == Sample(number=1, maybe=None, word="none")
    assert complaint(["--number=none"]) == "number='none': expected a whole number such as 291 or 0x123"


def test_what_is_not_typed_has_its_default():
    assert read(Sample, ["--number", "1"]) == Sample(number=1)


def test_options_carry_the_fields_own_words():
    about = {option.field: option.about for option in frame_options(Sample)}
    assert about["number"] == "a number, 100 % of the time."
    assert about["word"] == "any word."
    assert about["shape"] == "another of two."
    assert "100 % of" in help_of(Sample)


def help_of(frame_type):
    parser = LineParser("test")
    add_frame_options(parser, frame_type)
    return parser.format_help()


def test_every_networks_frame_can_be_turned_into_options():
    for name in framesim.networks():
        frame_type = framesim.networks.network(name).frame_type
        options = frame_options(frame_type)
        assert [option.field for option in options] == [field.name for field in fields(frame_type)]
        assert all(option.about for option in options), name


def test_a_field_that_no_option_can_express_is_a_mistake_in_the_network():
    @dataclass
    class Odd:
        pair: tuple[int, bytes]

    with pytest.raises(TypeError, match=r"Odd\.pair: no option for type"):
        frame_options(Odd)


def complaint(words):
    """Return what is wrong with the words, or None."""
    try:
        read(Sample, words)
    except BadArgument as error:
        return str(error)
    return None


@settings(deadline=None)
@given(text=st.text())
def test_any_text_gives_a_value_or_one_clear_line(text):
    for field in ("number", "octets", "maybe", "nibbles", "level", "colour", "shape"):
        said = complaint(["--number=1", f"--{field}={text}"])
        if said is not None:
            assert said.startswith(f"{field}=")
            assert one_line(said).isprintable()
            assert len(said) < 400


@settings(deadline=None)
@given(value=NUMBERS)
def test_numbers_are_read_in_every_usual_spelling(value):
    for spelled in (str(value), hex(value), bin(value), oct(value), f"{value:_}"):
        assert whole_number("n", spelled) == value


@settings(deadline=None)
@given(text=st.text())
def test_a_quotation_is_short_and_printable(text):
    assert one_line(quoted(text)).isprintable()
    assert len(quoted(text[:20])) <= 20 * 10 + 2
