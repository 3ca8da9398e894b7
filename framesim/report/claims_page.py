"""Claims and findings as one self-contained page: made from the JSON record alone, so both say the same."""

from collections.abc import Mapping
from typing import Any

from framesim.report.caution import CAUTION

__all__ = ["claims_page"]

SETTLED = {"yes": "within the claim", "no": "outside the claim", "undecided": "not settled"}


def claims_page(record: Mapping[str, Any]) -> str:
    """Return the page as text; everything from outside is escaped.

    Args:
        record: from ``ClaimsReport.record``.
    """
    from jinja2 import Environment, PackageLoader

    pages = Environment(loader=PackageLoader("framesim.report"), autoescape=True, trim_blocks=True, lstrip_blocks=True)
    pages.filters["pairs"] = _pairs
    pages.filters["cause"] = _cause
    pages.filters["counts"] = lambda counts: ", ".join(f"{key}: {number:,}" for key, number in counts.items())
    pages.filters["verdict"] = _verdict
    pages.filters["short"] = lambda value: f"{value:.4g}"
    return pages.get_template("claims.html.j2").render(record=record, caution=CAUTION)


def _verdict(claim: Mapping[str, Any]) -> str:
    verdict = str(claim["verdict"])
    return f"{verdict}, {SETTLED[claim['meets']]}" if verdict == "bounded" else verdict


def _cause(value: Mapping[str, Any]) -> str:
    """Return what flips the bits; of an engine, what it is, and not the sixty figures that it is made of."""
    inner = [key for key, each in value.items() if isinstance(each, Mapping)]
    shown = _pairs({key: each for key, each in value.items() if key not in inner})
    return f"{shown}; {', '.join(inner)}: see evidence.json" if inner else shown


def _pairs(value: Any) -> str:
    """Return a record as running words; what is off or not set is left out."""
    if isinstance(value, Mapping):
        shown = {key: inner for key, inner in value.items() if inner is not None and inner is not False}
        words = {key: f"{inner:#x}" if key == "identifier" else _pairs(inner) for key, inner in shown.items()}
        return "; ".join(f"{key} {inner}" for key, inner in words.items())
    if isinstance(value, list):
        return ", ".join(_pairs(item) for item in value)
    return str(value)
