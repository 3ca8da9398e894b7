"""The coverage report as one self-contained page, made from its JSON record: pictures, tables, what it rests on."""

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from framesim.coverage.result import CoverageReport
from framesim.coverage.scenario import Scenario
from framesim.coverage.spark_close_up import spark_close_up
from framesim.networks.registry import network
from framesim.report.caution import NOT_MODELLED
from framesim.report.course_figure import course_figures
from framesim.report.coverage_basis import basis_tables
from framesim.report.coverage_strata import beside_the_first, strata_rows
from framesim.report.coverage_text import sentences
from framesim.report.page import Figure, Section, Table, listed, number_at, render
from framesim.report.pictures.funnel import FunnelBars, Stage, funnel_picture
from framesim.report.pictures.shares import Bar, check_shares
from framesim.report.pictures.waveform import spark_waveform
from framesim.words import Check

__all__ = ["coverage_page", "funnels_of", "shares_of"]

Record = Mapping[str, Any]
BARS_A_PAGE, FUNNELS_A_PAGE = 14, 6

_COUNTS = {
    "frames": "frames sent",
    "disturbed": "disturbed: a bit read wrong",
    "flips": "bits read wrong",
    "disturbed_but_delivered": "disturbed, yet delivered as sent",
    "detected": "caught",
    "unseen": "never seen as a frame",
    "undetected": "undetected: accepted wrong",
    "idle_flips": "false starts on the idle wire",
    "samples": "samples taken",
    "silently_wrong": "silently wrong",
    "silently_wrong_with_own_ground": "silently wrong with a ground of its own",
    "largest_lsb": "largest error, ADC steps",
    "implausible": "caught by the range check",
    "silently_wrong_with_a_plain_line": "silently wrong on a plain line: one track, no filter, no step",
}
_FUNNEL = {"touched": "a fast transient inside", "toggled": "comparator toggled"}


def coverage_page(report: CoverageReport, scenario: Scenario | None = None) -> str:
    """Return the page as text.

    Args:
        report: what was found.
        scenario: what was run; with it, the page also shows a spark and some seconds of the value.
    """
    record = json.loads(report.to_json())
    links = [(place, link) for place, link in enumerate(record["links"]) if "by_check" in link]
    frames = [(place, link) for place, link in links if link["link"] != "analog"]
    analog = [(place, link) for place, link in links if link["link"] == "analog"]
    sections = [Section("Which check spoke first", figures=_share_figures([link for _, link in frames]))]
    if any(link["funnel"] for _, link in frames):
        sections.append(
            Section("From spark to undetected error", figures=_funnel_figures([link for _, link in frames]))
        )
    if scenario is not None:
        sections += _seen_close(scenario, frames)
    tables = [_table(record, name, some) for name, some in _by_link([*frames, *analog]).items()]
    sections += [
        Section("The counts and the rates", tables=tables),
        Section("What the figures rest on", tables=basis_tables(record)),
        Section("Before quoting a figure", paragraphs=record["notes"]),
    ]
    recorded = any(given["source"]["kind"] == "waveform" for given in record["disturbance"].values())
    left_out = "recording" if recorded else "engine" if record["hours"] is not None else "channel"
    return render(
        title=record["title"],
        about=_about(record),
        lead=[*(["Partial: the run was interrupted; the page covers what was done."] if record["partial"] else []),
              *sentences(report), *beside_the_first(frames)],
        sections=sections,
        not_modelled=NOT_MODELLED[left_out],
    )  # fmt: skip


def shares_of(links: Sequence[Record]) -> list[Bar]:
    """Return one bar a link and column: who spoke first, and what became of the rest of the disturbed frames."""
    bars = []
    for link in links:
        counts = link["counts"]
        first = {check.value: link["by_check"]["first"].get(check.value, 0) for check in Check}
        rest = {
            "nobody: delivered": counts["disturbed_but_delivered"],
            "never seen": counts["unseen"],
            "undetected": counts["undetected"],
        }
        bars.append(Bar(label=_name(link), counts=first | rest, note=f"{counts['disturbed']:,} frames"))
    return bars


def funnels_of(links: Sequence[Record]) -> list[FunnelBars]:
    """Return the stages of each link and column that has a funnel."""
    funnels = []
    for link in links:
        counts = link["counts"]
        if not link["funnel"]:
            continue
        touched = [Stage(label=label, count=link["funnel"][key]) for key, label in _FUNNEL.items()]
        first = [
            Stage(label=f"caught by {name.replace('_', ' ')}", count=count, depth=1)
            for name, count in link["by_check"]["first"].items()
        ]
        stages = [
            Stage(label="frames sent", count=counts["frames"]),
            *touched,
            Stage(label="a sample flipped", count=link["funnel"]["flipped"]),
            *first,
            Stage(label="undetected", count=counts["undetected"], below=link["high"] * counts["frames"]),
        ]
        funnels.append(FunnelBars(title=_name(link), stages=stages))
    return funnels


def _name(link: Record) -> str:
    short = _title(link["link"]).partition(",")[0]  # what tells columns apart must not be cut off
    return f"{short}, {link['column'].replace('_', '-')}"


def _title(name: str) -> str:
    return "analog line" if name == "analog" else network(name).title


def _share_figures(links: Sequence[Record]) -> list[Figure]:
    caption = (
        "Shares of the disturbed frames, by the check that spoke first; each frame counts once. The letter stands in "
        "the bar, the number beside it is how many frames the bar stands for. A part that is missing was not seen, "
        "which is not proof that it cannot be."
    )
    return _by_pages(shares_of(links), BARS_A_PAGE, caption, check_shares, "shares")


def _funnel_figures(links: Sequence[Record]) -> list[Figure]:
    caption = (
        "Frames at each stage, on a logarithmic axis. Open, hatched bars: none was seen, and the bar ends at the upper "
        "limit of how many to expect in a run of this length."
    )
    return _by_pages(funnels_of(links), FUNNELS_A_PAGE, caption, funnel_picture, "funnel")


def _by_pages(parts: Sequence[Any], at_once: int, caption: str, picture: Callable[..., str], name: str) -> list[Figure]:
    """Return one figure for so many parts at a time, so that none is cut by the edge of a printed page."""
    pieces = [parts[first : first + at_once] for first in range(0, len(parts), at_once)]
    return [
        Figure(picture(piece, name=f"{name}-{number}" if number else name), caption if piece is pieces[-1] else "")
        for number, piece in enumerate(pieces)
    ]


def _seen_close(scenario: Scenario, frames: Sequence[tuple[int, Record]]) -> list[Section]:
    """Return a spark on the wire and the value over time, from the column that disturbed most of the first link."""
    if not scenario.by_engine or not frames:
        return []
    own = [item for item in frames if item[1]["link"] == scenario.sender.network]
    column = max(own, key=lambda item: (item[1]["counts"]["disturbed"], item[0]))[1]["column"]
    view = spark_close_up(scenario, column)
    sections = []
    if view is not None:
        wrong = int((view.sent != view.read).sum())
        told = (
            f"{wrong} of the bits shown is read wrong."
            if wrong == 1
            else f"{wrong or 'None'} of the bits shown are read wrong."
        )
        caption = (
            f"Column {column}: the pair's difference voltage behind the receiver's low-pass. Dotted: sample instants. "
            f"Grey band: the hysteresis, in which the comparator keeps its state. Circle: read as sent; cross: read "
            f"wrong. {told} Chosen because a spark falls into a frame here, so it is no fair sample."
        )
        sections.append(Section("One spark on the wire", figures=[Figure(spark_waveform(view), caption)]))
    figures = course_figures(scenario, column, view.start_s if view else 0.0)
    sections.append(Section("The value over time", figures=figures))
    return sections


def _by_link(links: Sequence[tuple[int, Record]]) -> dict[str, list[tuple[int, Record]]]:
    groups: dict[str, list[tuple[int, Record]]] = {}
    for place, link in links:
        groups.setdefault(link["link"], []).append((place, link))
    return groups


def _table(record: Record, name: str, links: Sequence[tuple[int, Record]]) -> Table:
    places = [place for place, _ in links]

    def row(label: str, *keys: str | int) -> list[Any]:
        return [label, *(number_at(record, "links", place, *keys) for place in places)]

    counts = links[0][1]["counts"]
    rows = [row(label, "counts", key) for key, label in _COUNTS.items() if counts.get(key) is not None]
    for key in counts.get("off_by_at_least_lsb", {}):
        rows.append(row(f"off by {key} ADC steps or more", "counts", "off_by_at_least_lsb", key))
    if "comparison" in links[0][1]["by_check"]:
        rows.append(row("caught by comparing the tracks", "by_check", "comparison"))
    for key in counts.get("wrong_samples", {}):
        rows.append(row(f"wrong samples: {key.replace('_', ' ')}", "counts", "wrong_samples", key))
    if links[0][1].get("funnel"):
        rows += [row(label, "funnel", key) for key, label in _FUNNEL.items()]
    for tally, said in (("first", "first to speak: {}"), ("alone", "alone: {} would have")):
        for check in Check:
            if any(check.value in link["by_check"].get(tally, {}) for _, link in links):
                cells = [
                    number_at(record, "links", place, "by_check", tally, check.value)
                    if check.value in link["by_check"][tally]
                    else "–"
                    for place, link in links
                ]
                rows.append([said.format(check.value.replace("_", " ")), *cells])
    rows += _rate_rows(record, links, "undetected" if name != "analog" else "silently wrong")
    if name != "analog":
        rows += strata_rows(record, links)
    return Table(_title(name), ["", *(link["column"].replace("_", "-") for _, link in links)], rows)


def _rate_rows(record: Record, links: Sequence[tuple[int, Record]], what: str) -> list[list[Any]]:
    each = "sample" if links[0][1]["link"] == "analog" else "frame"
    rows: list[list[Any]] = []
    for unit, keys in ((f"a {each}", ()), ("an hour", ("per_hour",))):
        if keys and any(link["per_hour"] is None for _, link in links):
            continue
        best = [
            number_at(record, "links", place, *keys, "rate" if keys else "probability")
            if link["probability"] is not None
            else "none seen"
            for place, link in links
        ]
        limits = [
            [number_at(record, "links", place, *keys, "low"), " … ", number_at(record, "links", place, *keys, "high")]
            for place, _ in links
        ]
        levels = sorted({f"{link['confidence'] * 100:.6g} %, {link['method']}" for _, link in links})
        rows += [[f"{what}, {unit}", *best], [f"  interval ({'; '.join(levels)})", *limits]]
    return rows


def _about(record: Record) -> list[tuple[str, Any]]:
    about: list[tuple[str, Any]] = [("data", record["note"])] if record["note"] else []
    about.append(("method", "plain sampling: every frame and sample drawn from the seed, judged by a receiver"))
    if any((link.get("computed") or {}).get("strata") for link in record["links"]):
        about.append(("  beside it", "by strata of wrong bits a frame: patterns of the run, put at other places"))
    about.append(("seed", number_at(record, "seed")))
    if record["hours"] is not None:
        engine = all(given["source"]["kind"] == "ignition" for given in record["disturbance"].values())
        about.append(("engine time" if engine else "time", [number_at(record, "hours"), " h a column"]))
    for part in record["scenario"]:
        if isinstance(record["scenario"][part], dict):
            about += [(f"{part}: {name}", value) for name, value in listed(record, "scenario", part)]
    about.append(("disturbance", "local: at one receiver; the sender does not see it"))
    return about
