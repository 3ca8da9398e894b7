"""The comparison as one self-contained HTML page: pictures and tables, no network, no script, prints as it stands."""

from framesim.coverage.carriers import CARRIERS
from framesim.coverage.compare import Comparison, Lane
from framesim.coverage.scenario_words import MEASURED
from framesim.report.caution import NOT_MODELLED
from framesim.report.compare_rows import notes, parts
from framesim.report.page import Figure, Number, Section, Table, render
from framesim.report.pictures.ranges import Range, interval_rows
from framesim.report.pictures.shares import Bar, check_shares

__all__ = ["comparison_page"]


def comparison_page(comparison: Comparison) -> str:
    """Return the page as text; everything from outside is escaped."""
    wire, value, checks, first = parts(comparison)
    limits = Table(
        f"The same exactly, interval of {comparison.confidence * 100:.6g} %",
        ("link", "estimate", "low", "high", "method"),
        [_limits(place, lane) for place, lane in enumerate(comparison.lanes)],
    )
    sections = [
        Section("On the wire and for the value", tables=[Table(*wire), Table(*value)]),
        Section("Undetected", figures=[_ranges(comparison)], tables=[Table(*checks), limits]),
        Section("Who speaks first", figures=[_shares(comparison)], tables=[Table(*first)]),
        Section(
            "Before quoting a figure",
            paragraphs=[*notes(comparison), f"For scale, bit error ratios measured on CAN: {MEASURED}."],
        ),
    ]
    given = dict(comparison.disturbance)
    kind = str(given.pop("kind")).replace("_", " ")
    return render(
        title=f"One value of {comparison.value_bits} bits, sent every {comparison.every_s * 1000:g} ms",
        about=[
            ("value", f"{comparison.value:#x}"),
            ("disturbance", f"{kind}, at one receiver of each network: {_told(given)}"),
            ("method", "; ".join(dict.fromkeys(lane.residual.method for lane in comparison.lanes))),
            ("seed", Number("seed", repr(comparison.seed), f"{comparison.seed:,}")),
        ],
        lead=["Partial: the run was interrupted; the page covers what was done."] if comparison.partial else [],
        sections=sections,
        not_modelled=NOT_MODELLED["channel"],
    )


def _told(given: dict[str, object]) -> str:
    return ", ".join(
        f"{name.replace('_', ' ')} {value}" for name, value in given.items() if not isinstance(value, dict)
    )


def _limits(place: int, lane: Lane) -> list[object]:
    def cell(name: str, value: float) -> Number:
        return Number(f"links.{place}.{name}", repr(value), f"{value:.4g}")

    found = lane.residual
    best = cell("probability", found.best) if found.best else "none seen"
    return [CARRIERS[lane.network].title, best, cell("low", found.low), cell("high", found.high), found.method]


def _ranges(comparison: Comparison) -> Figure:
    rows = [
        Range(
            label=CARRIERS[lane.network].title,
            low=lane.residual.low,
            best=lane.residual.best or None,
            high=lane.residual.high,
        )
        for lane in comparison.lanes
    ]
    caption = (
        "Bar: interval; diamond: estimate; arrow to the left: no lower limit, nothing undetected was seen. The end of "
        "such a bar is set by how much was tried and says little about the network."
    )
    return Figure(interval_rows(rows), caption)


def _shares(comparison: Comparison) -> Figure:
    bars = [
        Bar(label=CARRIERS[lane.network].title, counts=lane.first, note=f"{sum(lane.first.values()):,} flips")
        for lane in comparison.lanes
    ]
    caption = "Every single flip of the frame tried once: the share of each check that speaks first."
    return Figure(check_shares(bars, share_of="of all single flips"), caption)
