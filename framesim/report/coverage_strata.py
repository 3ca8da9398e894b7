"""Rates that were computed by strata, for the page: rows of a table; and what is said of the links beside the first."""

from collections.abc import Mapping, Sequence
from typing import Any

from framesim.coverage.estimate import rounded
from framesim.networks.registry import network
from framesim.report.page import number_at

__all__ = ["beside_the_first", "strata_rows"]

Record = Mapping[str, Any]


def strata_rows(record: Record, links: Sequence[tuple[int, Record]]) -> list[list[Any]]:
    """Return rows of the rate by strata, a cell a column; none where no column of the link has one.

    Args:
        record: the whole JSON record.
        links: place in the record and the link's part of it, one a column.
    """
    had = [bool((link.get("computed") or {}).get("strata")) for _, link in links]
    if not any(had):
        return []
    best: list[Any] = []
    limits: list[Any] = []
    for (place, link), there in zip(links, had, strict=True):
        at = ("links", place, "computed")
        seen = there and link["computed"]["probability"] is not None
        best.append(number_at(record, *at, "probability") if seen else "none found" if there else "–")
        limits.append([number_at(record, *at, "low"), " … ", number_at(record, *at, "high")] if there else "–")
    levels = sorted(
        {
            f"{link['computed']['confidence'] * 100:.6g} %, {link['computed']['method']}"
            for (_, link), there in zip(links, had, strict=True)
            if there
        }
    )
    by_frames = [
        number_at(record, "links", place, "computed", "high_by_frames") if there else "–"
        for (place, _), there in zip(links, had, strict=True)
    ]
    once = "at most, if each disturbed frame counts once, however many patterns were drawn from it"
    sure = sorted(
        {f"{link['computed']['confidence'] * 100:.6g} %" for (_, link), there in zip(links, had, strict=True) if there}
    )
    return [
        ["undetected, a frame, by strata", *best],
        [f"  interval ({'; '.join(levels)})", *limits],
        [f"  {once} ({'; '.join(sure)})", *by_frames],
    ]


def beside_the_first(frames: Sequence[tuple[int, Record]]) -> list[str]:
    """Return one sentence a column on the undetected frames of the links beside the first; none if it is alone."""
    if not frames:
        return []
    first = frames[0][1]["link"]
    said: dict[str, list[str]] = {}
    for _, link in frames:
        if link["link"] != first:
            said.setdefault(link["column"], []).append(_undetected(link))
    return [
        f"{column.replace('_', '-').capitalize()}, undetected on the other links under the same sparks: "
        f"{'; '.join(each)}."
        for column, each in said.items()
    ]


def _undetected(link: Record) -> str:
    counts = link["counts"]
    share = f"{rounded(link['high'], up=True)} a frame ({link['confidence'] * 100:.6g} %, {link['method']})"
    name = network(link["link"]).title.partition(",")[0]
    seen = f"{counts['undetected']:,}" if counts["undetected"] else "none"
    return f"{name} {seen} of {counts['frames']:,}, at most {share}"
