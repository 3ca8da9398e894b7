"""What all report pages share: the template's surroundings, figures, numbers that keep their exact value.

A page is made from the JSON record of a result and from nothing else, so both say the same. Every number is a
``data`` element: people read it rounded, machines find the exact value in ``value`` and its place in the record in
``data-at``. Everything from outside is escaped by the templates; only pictures, which are made here, are not.
"""

import platform
from collections.abc import Mapping, Sequence
from importlib.metadata import PackageNotFoundError, version
from typing import Any, NamedTuple
from unicodedata import category

from framesim import __version__
from framesim.report.caution import CAUTION, CAUTIONS

__all__ = ["Figure", "Number", "Section", "Table", "listed", "number_at", "render", "versions"]

_LIBRARIES = ("numpy", "scipy", "mpmath", "numba", "matplotlib")  # those that can change a figure or a picture


class Number(NamedTuple):
    """A number of the record.

    Attributes:
        at: where in the record, keys joined by dots.
        value: exact, as JSON writes it.
        shown: for people.
    """

    at: str
    value: str
    shown: str


class Table(NamedTuple):
    """A table: column heads, the first for the row names; cells are words, numbers, or lists of both."""

    title: str
    heads: Sequence[str]
    rows: Sequence[Sequence[Any]]


class Figure(NamedTuple):
    """A picture with the words under it."""

    svg: str
    caption: str


class Section(NamedTuple):
    """A part of a page: a heading, and what stands under it in this order."""

    heading: str
    paragraphs: Sequence[str] = ()
    figures: Sequence[Figure] = ()
    tables: Sequence[Table] = ()


def number_at(record: Mapping[str, Any], *keys: str | int) -> Number | str:
    """Return the number at a place of the record; a dash where there is none."""
    value: Any = record
    for key in keys:
        value = value[key]
    if value is None or value == "":
        return "–"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    shown = f"{value:,}" if isinstance(value, int) else f"{value:.4g}"
    return Number(".".join(map(str, keys)), repr(value), shown)


def listed(record: Mapping[str, Any], *keys: str | int) -> list[tuple[str, Any]]:
    """Return names and values of a part of the record, for the head of a page; identifiers as people write them."""
    part: Any = record
    for key in keys:
        part = part.get(key, {})
    return [
        (name.replace("_", " "), f"{value:#x}" if name == "identifier" else number_at(record, *keys, name))
        for name, value in part.items()
        if value is not None
    ]


def versions() -> str:
    """Return what was at work, with its versions."""
    parts = [f"framesim {__version__}", f"Python {platform.python_version()}"]
    for name in _LIBRARIES:
        try:
            parts.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            continue
    return ", ".join(parts)


def _shown(value: Any) -> Any:
    """Return words with control characters spelled out, those that turn the direction of writing among them."""
    if type(value) is not str:  # numbers, and pictures, which are made here
        return value
    return "".join(ascii(mark)[1:-1] if category(mark)[0] == "C" and mark not in "\n\t" else mark for mark in value)


def render(
    *,
    title: str,
    about: Sequence[tuple[str, Any]],
    sections: Sequence[Section],
    not_modelled: Sequence[str],
    lead: Sequence[str] = (),
) -> str:
    """Return the page as text; the same bytes for the same input and versions.

    Args:
        title: on top.
        about: what the result depends on: name and value, in a list at the head.
        sections: the page's body.
        not_modelled: one sentence each.
        lead: the result in plain words.
    """
    from jinja2 import Environment, PackageLoader
    from markupsafe import Markup

    pages = Environment(
        loader=PackageLoader("framesim.report"), autoescape=True, trim_blocks=True, lstrip_blocks=True, finalize=_shown
    )
    pages.filters["drawing"] = Markup  # used on the pictures alone
    pages.tests["number"] = lambda cell: isinstance(cell, Number)
    return pages.get_template("report.html.j2").render(
        title=title,
        about=[*about, ("made by", versions())],
        lead=lead,
        sections=sections,
        not_modelled=not_modelled,
        caution=CAUTION,
        cautions=CAUTIONS,
    )
