"""The ribbon as people see it, held against saved pictures: 80 and 120 columns, with and without colour."""

import functools
import io
from pathlib import Path

import pytest
from bitarray import bitarray
from rich.console import Console

import framesim
from framesim.report import terminal
from framesim.report.ribbon import ribbon_of

PICTURES = Path(__file__).parent / "pictures"
CAN = framesim.networks.network("can")
BASE = framesim.encode(framesim.CanFrame(identifier=0x123, payload=b"\x01\x02"))
EXTENDED = framesim.encode(framesim.CanFrame(identifier=0x18FF3344, payload=b"\xca\xfe\x00\x00", extended=True))
UNLUCKY = framesim.encode(framesim.CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714")))


def console_of(width, colour):
    """A console that depends on nothing around it."""
    return Console(
        file=io.StringIO(),
        width=width,
        color_system=colour,
        force_terminal=colour is not None,
        legacy_windows=False,
        highlight=False,
        markup=False,
        emoji=False,
        _environ={},
    )


def encoded(console, sent, **settings):
    ribbon = ribbon_of(sent, per_row=terminal.per_row(console.width), **settings)
    terminal.draw_encoded(console, sent, ribbon)


def disturbed(console, sent, flips, *, common=False, **settings):
    seen = sent.flipped(flips)
    judgement = framesim.judge(sent, seen, common=common)
    settings = {"per_row": terminal.per_row(console.width), **settings}
    ribbon = ribbon_of(sent, seen=seen, flips=flips, at=judgement.at, **settings)
    where = "by everyone on the wire, the sender too" if common else "by one receiver only"
    terminal.draw_disturbed(console, sent, ribbon, flips=flips, judgement=judgement, where=where)


def decoded(console, bits):
    terminal.draw_decoded(console, CAN, bits.to01(), framesim.receive(bits, "can"))


PICTURED = {
    "encode": lambda console: encoded(console, BASE),
    "encode_extended": lambda console: encoded(console, EXTENDED),
    "disturb_detected": lambda console: disturbed(console, BASE, [17, 40]),
    "disturb_undetected": lambda console: disturbed(console, UNLUCKY, [29, 58]),
    "disturb_common": lambda console: disturbed(console, BASE, [40], common=True),
    "disturb_many": lambda console: disturbed(console, UNLUCKY, list(range(60, 75))),
    "disturb_elided": lambda console: disturbed(console, UNLUCKY, [10], most=10, per_row=20),
    "decode_accepted": lambda console: decoded(console, bitarray(BASE.bits)),
    "decode_refused": lambda console: decoded(console, BASE.flipped([17, 40])),
}


@functools.cache
def drawn(name, width, colour):
    console = console_of(width, colour)
    PICTURED[name](console)
    return console.file.getvalue()


@pytest.mark.parametrize("colour", [None, "truecolor"], ids=["plain", "colour"])
@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("name", PICTURED)
def test_the_picture_is_the_saved_one(name, width, colour):
    """On a difference the new picture is saved beside the old one; move it over if it is right."""
    saved = PICTURES / f"{name}_{width}{'_colour' if colour else ''}.txt"
    picture = drawn(name, width, colour)
    if not saved.exists() or saved.read_text(encoding="utf-8") != picture:
        fresh = saved.with_suffix(".new")
        fresh.write_text(picture, encoding="utf-8")
        pytest.fail(f"the picture changed: compare {saved} with {fresh}, and move the new one over if it is right")


@pytest.mark.parametrize("width", [24, 40, 80, 120])
@pytest.mark.parametrize("name", PICTURED)
def test_no_line_is_wider_than_the_screen_or_ends_in_blanks(name, width):
    for line in drawn(name, width, None).splitlines():
        assert len(line) <= max(width, 31)  # a row holds ten bits at least, and room for a label
        assert line == line.rstrip()


@pytest.mark.parametrize("name", PICTURED)
def test_colour_adds_nothing_that_the_characters_do_not_say(name):
    import re

    coloured = re.sub(r"\x1b\[[0-9;]*m", "", drawn(name, 80, "truecolor"))
    assert coloured == drawn(name, 80, None)


@pytest.mark.parametrize("system", [None, "standard"])
def test_a_screen_of_few_colours_gets_no_shade(system):
    assert "48;" not in drawn("encode", 80, system)


def test_no_color_takes_the_colour_but_leaves_the_ribbon(monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("COLORTERM", "truecolor")
    console = terminal.screen(io.StringIO())
    encoded(console, BASE)
    assert "48;" not in console.file.getvalue()
    monkeypatch.delenv("NO_COLOR")
    console = terminal.screen(io.StringIO())
    encoded(console, BASE)
    assert "48;2;" in console.file.getvalue()


def test_an_encoding_without_line_drawing_gets_plain_signs():
    console = Console(file=io.TextIOWrapper(io.BytesIO(), encoding="ascii"), width=80)
    encoded(console, BASE, glyphs=terminal.glyphs_for(console))
    console.file.flush()
    assert "`identifier" in console.file.buffer.getvalue().decode("ascii")


def luminance(colour):
    """Relative luminance of an sRGB colour: WCAG 2.1, definition of relative luminance."""
    parts = [value / 255 for value in colour]
    linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one, other):
    """Contrast ratio: WCAG 2.1, definition of contrast ratio."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_shades_keep_their_order_in_grey_and_for_every_kind_of_colour_vision():
    # each step is darker in all three channels, so it is darker to any eye that adds them up with any weights
    for lighter, darker in zip(terminal.RAMP, terminal.RAMP[1:], strict=False):
        assert all(light > dark for light, dark in zip(lighter, darker, strict=True))
        assert contrast(lighter, darker) >= 1.3


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 9])
def test_the_bits_can_be_read_on_every_shade(count):
    import re

    text, shade = terminal.shade_of(count).split(" on ")
    colours = [tuple(map(int, re.findall(r"\d+", part))) for part in (text, shade)]
    assert contrast(*colours) >= 4.5  # WCAG 2.1, success criterion 1.4.3
