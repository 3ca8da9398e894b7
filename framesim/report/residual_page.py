"""P(undetected) as one self-contained page, made from its JSON record: curve, figures, how they were obtained."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from framesim.coverage.residual_curve import ResidualCurve
from framesim.coverage.scenario_words import MEASURED, MEASURED_RATIOS
from framesim.networks.registry import network
from framesim.report.caution import NOT_MODELLED
from framesim.report.page import Figure, Section, Table, listed, number_at, render
from framesim.report.pictures.curves import curve_of, residual_curves
from framesim.report.pictures.shares import Bar, check_shares

__all__ = ["residual_page"]

Record = Mapping[str, Any]
SHOWN = 6  # columns of a table that a page can hold

_METHODS = {
    "exact": "summed over all flip patterns, not sampled",
    "bounded": "limits that hold for certain; the value is the upper one",
    "stratified": "exact for each frame, sampled over frames",
}


def residual_page(curve: ResidualCurve) -> str:
    """Return the page as text."""
    record = json.loads(curve.to_json())
    links = record["links"]
    sections = []
    if len(links) > 1:
        sections.append(Section("Along the sweep", figures=[_curve(curve)]))
    if any(link["by_check"] for link in links):
        sections.append(Section("Which check spoke first", figures=[_shares(links)], tables=[_checks(record)]))
    sections.append(Section("The figures", tables=[_values(record), *_patterns(record)]))
    sections.append(Section("How they were obtained", paragraphs=_how(links)))
    return render(
        title=f"How often a wrong frame passes as right: {network(record['network']).title}",
        about=_about(record),
        sections=sections,
        not_modelled=NOT_MODELLED["channel"],
    )


def _about(record: Record) -> list[tuple[str, Any]]:
    methods = dict.fromkeys(link["method"] for link in record["links"])
    accepted = {
        "receiver_only": "whatever the receiver accepts",
        "same_end": "only what the receiver accepts at the sender's own end",
    }
    about: list[tuple[str, Any]] = [*listed(record, "subject"), ("counted", accepted[record["acceptance"]])]
    about.append(("flips reach", record["seen_by"]))
    about.append(("method", "; ".join(f"{method}: {_METHODS.get(method, method)}" for method in methods)))
    seed = record["links"][0]["seed"]
    about.append(("seed", "none: nothing is drawn" if seed is None else number_at(record, "links", 0, "seed")))
    if "provisional" in record:
        about.append(("provisional", record["provisional"]))
    return about


def _channel(record: Record, place: int) -> Any:
    channel = record["links"][place]["channel"]
    if channel["kind"] == "scatter":
        return number_at(record, "links", place, "channel", "bit_error_ratio")
    return str(channel["kind"]).replace("_", "-")


def _values(record: Record) -> Table:
    links = record["links"]
    hourly = all(link["per_hour"] for link in links)
    rows = []
    for place, link in enumerate(links):
        at = ("links", place)
        value = number_at(record, *at, "probability") if link["probability"] else "none seen"
        rows.append(
            [
                _channel(record, place),
                ["at most ", value] if link["method"] == "bounded" and link["probability"] else value,
                number_at(record, *at, "low"),
                number_at(record, *at, "high"),
                "certain" if link["confidence"] == 1 else f"{link['confidence'] * 100:.6g} %",
                link["method"],
                *([number_at(record, *at, "per_hour", "high")] if hourly else []),
            ]
        )
    heads = ["channel", "P(undetected)", "low", "high", "confidence", "method"]
    if all(link["channel"]["kind"] == "scatter" for link in links):
        heads[0] = "bit error ratio"
    return Table("Undetected, per frame sent", [*heads, *(["an hour, high"] if hourly else [])], rows)


def _patterns(record: Record) -> list[Table]:
    patterns = record["links"][0]["patterns"]
    if not patterns:
        return []
    rows = [[flips, number_at(record, "links", 0, "patterns", flips)] for flips in patterns]
    what = "mean number over frames" if record["links"][0]["seed"] is not None else "number"
    return [Table("Patterns of flips that pass undetected", ["flips", what], rows)]


def _picked(links: Sequence[Record]) -> list[int]:
    """Return the places of the links with a tally of checks; no more than fit beside each other."""
    places = [place for place, link in enumerate(links) if link["by_check"]]
    return places if len(places) <= SHOWN else places[:: -(-len(places) // SHOWN)]


def _checks(record: Record) -> Table:
    links, places = record["links"], _picked(record["links"])
    names = dict.fromkeys(name for place in places for name in links[place]["by_check"])
    rows = [
        [
            name.replace("_", " "),
            *(
                number_at(record, "links", place, "by_check", name) if name in links[place]["by_check"] else "–"
                for place in places
            ),
        ]
        for name in names
    ]
    for name in ("delivered", "unseen"):
        if all(links[place][name] is not None for place in places):
            rows.append([name, *(number_at(record, "links", place, name) for place in places)])
    heads = [
        f"{link['channel']['bit_error_ratio']:g}"
        if "bit_error_ratio" in link["channel"]
        else str(link["channel"]["kind"])
        for link in (links[place] for place in places)
    ]
    return Table("Probability that this check speaks first, per frame sent", ["first to speak", *heads], rows)


def _curve(curve: ResidualCurve) -> Figure:
    marks = [(f"CAN, {where}", ratio) for where, ratio in MEASURED_RATIOS]
    picture = residual_curves([curve_of(curve, network(curve.network).title)], marks=marks)
    caption = (
        "P(undetected) per frame sent against the bit error ratio. Whiskers: interval, where it is wider than the "
        "mark. A range is drawn where only limits are certain; an arrow down where only an upper limit is known. "
        f"Upright lines, where the sweep reaches them: bit error ratios measured on CAN, {MEASURED}."
    )
    return Figure(picture, caption)


def _shares(links: Sequence[Record]) -> Figure:
    bars = []
    for place in _picked(links):
        link = links[place]
        ratio = link["channel"].get("bit_error_ratio")
        label = str(link["channel"]["kind"]).replace("_", "-") if ratio is None else f"{ratio:g}"
        caught = sum(link["by_check"].values())
        bars.append(Bar(label=label, counts=link["by_check"], note=f"{caught:.3g}"))
    caption = (
        "Of all frames that a check stops, the share of each check that speaks first. Beside the bar: the probability "
        "that a frame is stopped at all."
    )
    return Figure(check_shares(bars, share_of="of the frames caught"), caption)


def _how(links: Sequence[Record]) -> list[str]:
    bases = dict.fromkeys(f"{link['method']}: {link['basis']}." for link in links)
    reasons = dict.fromkeys(f"No estimate: {link['reason']}." for link in links if link["reason"])
    return [*bases, *reasons]
