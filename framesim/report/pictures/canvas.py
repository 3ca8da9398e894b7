"""What all pictures share: a sheet to draw on, and an SVG that fits into a page and is the same on every run.

matplotlib writes ids, a date, comments and outside references into its SVG. All that is taken out, and every id gets
the picture's name in front, so that many pictures can stand in one page.
"""

import io
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from math import log10
from typing import Any
from xml.etree import ElementTree

from framesim.plain import one_line

__all__ = ["LABEL_LENGTH", "Sheet", "as_png", "as_svg", "label_text", "power_ticks", "sheet"]

SVG, XLINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"
LABEL_LENGTH = 40  # of words from outside; longer ones would push everything else off the sheet
_DEAD = ("metadata", "style")  # who made it and when; and rules that would reach the rest of the page

SETTINGS: dict[str, Any] = {
    "svg.hashsalt": "framesim",
    "svg.fonttype": "path",  # looks the same wherever it is opened; nothing to load
    "font.family": "DejaVu Sans",  # comes with matplotlib
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.8,
    "hatch.linewidth": 0.7,
    "text.parse_math": False,  # a dollar sign from outside is a dollar sign
    "text.usetex": False,
    "axes.formatter.use_mathtext": False,
    "path.simplify": True,
}

Sheet = Any  #: a matplotlib figure


@contextmanager
def sheet(width: float, height: float) -> Iterator[Sheet]:
    """Offer a white sheet, inches wide and high, under settings of our own whatever the user's are."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with warnings.catch_warnings(), mpl.rc_context():
        mpl.rcdefaults()
        for key, value in SETTINGS.items():
            mpl.rcParams[key] = value  # type: ignore[index]  # the stubs list every key by name
        # A unit or name from outside may hold a sign that the font lacks: an empty box is then drawn.
        warnings.filterwarnings("ignore", message=r"Glyph .* missing from")
        yield Figure(figsize=(width, height), layout="constrained")


def label_text(text: str, longest: int = LABEL_LENGTH) -> str:
    """Return words from outside as a label: one line, no longer than there is room for."""
    line = one_line(text)
    return line if len(line) <= longest else line[: longest - 1] + "…"


def power_ticks(axis: Any) -> None:
    """Label a logarithmic axis at its decades, in plain characters: no markup is read in any label."""
    from matplotlib.ticker import FuncFormatter, NullFormatter

    raised = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"10{f'{log10(value):.0f}'.translate(raised)}"))
    axis.set_minor_formatter(NullFormatter())


def as_svg(figure: Sheet, name: str, about: str) -> str:
    """Return the figure as an ``svg`` element for a page; to be called while its sheet is open.

    Args:
        figure: the figure.
        name: a word that is used once in a page; it goes in front of every id.
        about: what the picture shows, for people who do not see it.
    """
    raw = io.BytesIO()
    figure.savefig(raw, format="svg", metadata={"Date": None})
    root = ElementTree.fromstring(raw.getvalue())
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag.rpartition("}")[2] in _DEAD:
                parent.remove(child)
    for element in root.iter():
        for key, value in element.attrib.items():
            element.attrib[key] = _named(key, value, name)
    for key in ("width", "height"):
        root.attrib.pop(key, None)  # the view box keeps the shape; the page says how wide
    root.attrib |= {"role": "img", "aria-label": about, "style": "stroke-linejoin:round;stroke-linecap:butt"}
    ElementTree.register_namespace("", SVG)
    ElementTree.register_namespace("xlink", XLINK)
    return ElementTree.tostring(root, encoding="unicode")


def as_png(figure: Sheet, *, dots_per_inch: int = 110) -> bytes:
    """Return the figure as a PNG; to be called while its sheet is open."""
    raw = io.BytesIO()
    figure.savefig(raw, format="png", dpi=dots_per_inch, metadata={"Software": None})
    return raw.getvalue()


def _named(key: str, value: str, name: str) -> str:
    if key == "id":
        return f"{name}-{value}"
    if key.endswith("href"):
        return value.replace("#", f"#{name}-", 1)
    if key in ("d", "x", "y"):
        return re.sub(r"-?\d+\.\d{4,}", lambda found: f"{float(found[0]):.3f}", value)  # a thousandth of a point
    return re.sub(r"url\(#", f"url(#{name}-", value)
