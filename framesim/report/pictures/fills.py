"""Fills and lines that can be told apart in grey print and by colour-blind readers: shade, and hatch or marker."""

from typing import NamedTuple

from framesim.report.terminal import RAMP

__all__ = ["FILLS", "STROKES", "Fill", "Stroke", "grey_of", "hexed"]

Rgb = tuple[int, int, int]


class Fill(NamedTuple):
    """How an area is filled.

    Attributes:
        shade: red, green and blue, 0..255.
        hatch: matplotlib's hatch; none of two neighbours share it.
        ink: colour of words on it.
    """

    shade: Rgb
    hatch: str
    ink: str


class Stroke(NamedTuple):
    """How a line is drawn: shade, dash and marker; each alone tells it from its neighbours."""

    shade: Rgb
    dash: str | tuple[int, tuple[int, ...]]
    marker: str


_INK, _PAPER = "#000000", "#ffffff"

_INKS = (_INK, _PAPER, _INK, _PAPER, _INK)
_ORDER = (0, 3, 1, 4, 2)
_HATCHES = ("", "//", "..", "", "\\\\", "xx", "---", "||", "++", "oo", "\\\\\\", "xxx", "--", "///", "|||")

#: one blue hue in five steps of lightness, not in order: neighbours in a stack then differ by two steps or more. After
#: five the shades come again, under another hatch.
FILLS = tuple(
    Fill(RAMP[_ORDER[place % len(_ORDER)]], hatch, _INKS[place % len(_INKS)]) for place, hatch in enumerate(_HATCHES)
)

STROKES = (
    Stroke((0, 0, 0), "-", "o"),
    Stroke((40, 98, 165), "--", "s"),
    Stroke((120, 120, 120), "-.", "^"),
    Stroke((16, 52, 102), ":", "D"),
    Stroke((96, 150, 205), (0, (6, 2, 1, 2, 1, 2)), "v"),
    Stroke((70, 70, 70), (0, (3, 1)), "P"),
    Stroke((150, 150, 150), (0, (1, 2)), "X"),
)


def hexed(shade: Rgb) -> str:
    """Return a shade as drawing libraries write it."""
    return "#{:02x}{:02x}{:02x}".format(*shade)


def grey_of(shade: Rgb) -> float:
    """Return the relative luminance 0..1, as WCAG 2.1 defines it for sRGB."""
    parts = [part / 255 for part in shade]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
