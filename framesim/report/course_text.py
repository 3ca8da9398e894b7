"""What the controller used, second by second, on a terminal."""

from rich.console import Console
from rich.table import Table
from rich.text import Text

from framesim.coverage.value_course import POLICIES, Fate, ValueCourse
from framesim.networks.registry import names, network
from framesim.plain import one_line
from framesim.report.caution import CAUTION

__all__ = ["draw_course"]

MOST_ROWS = 20
FEW = 2  # links for which there is room for every policy, second by second
SHORT = {"use": "use", "hold": "hold last", "substitute": "substitute", "time_out": "time-out"}


def draw_course(console: Console, course: ValueCourse) -> None:
    """Draw a row a second, largest error by link and policy, and the totals."""
    console.print(Text(one_line(course.title), style="bold"))
    note = f"{one_line(course.note)} · " if course.note else ""
    console.print(Text(f"{note}{course.column} · seed {course.seed}", style="dim"))
    if course.partial:
        reached = f"Partial: the run was interrupted. What follows covers the first {course.seconds:g} s."
        console.print(Text(reached, style="bold"))
    told = course.summary()
    console.print()
    for link, counts in told.items():
        silent = f"{counts['wrong']:,} silently wrong" if counts["wrong"] else "none silently wrong"
        caught = f"{counts['caught']:,} caught" if counts["caught"] else "none caught"
        missing = f", {counts['missing']:,} never came" if counts["missing"] else ""
        console.print(Text(f"{_title(link)}: {counts['values']:,} values, {caught}, {silent}{missing}."))
    console.print()
    if len(course.links) <= FEW:
        console.print(_table(course))
    else:
        console.print(_held(course))
        console.print()
        console.print(_totals(course))
    rows = len(_seconds(course))
    if rows > MOST_ROWS:
        console.print(Text(f"and {rows - MOST_ROWS:,} seconds more; the totals cover all", style="dim"))
    console.print()
    for policy, about in POLICIES.items():
        extra = f" ({course.substitute:g} {course.unit})" if policy == "substitute" else ""
        extra = f" ({course.time_out_s:g} s)" if policy == "time_out" else extra
        console.print(Text(f"{SHORT[policy]}: {about}{extra}", style="dim"))
    console.print(
        Text("A frame that was stopped is not repeated here; on CAN its sender would repeat it at once.", style="dim")
    )
    console.print(Text(CAUTION, style="dim"))


def _title(link: str) -> str:
    return network(link).title.partition(",")[0] if link in names() else f"{link} line"


def _columns(course: ValueCourse) -> list[tuple[str, str]]:
    """Return (link, policy) of each column; one for a link on which nothing was ever caught or missing."""
    columns = []
    for link, values in course.links.items():
        quiet = not values.count(Fate.CAUGHT) and not values.count(Fate.MISSING)
        columns += [(link, policy) for policy in values.used if policy == "use" or not quiet]
    return columns


def _empty(title: str) -> Table:
    return Table(title=title, title_justify="left", title_style="bold", box=None, pad_edge=False, padding=(0, 1, 0, 0))


def _table(course: ValueCourse) -> Table:
    table = _empty(f"Largest error of the value used, {one_line(course.unit)}")
    table.add_column("second")
    columns = _columns(course)
    for link, policy in columns:
        alone = sum(1 for other, _ in columns if other == link) == 1
        table.add_column(f"{link}\n{'any policy' if alone else SHORT[policy]}", justify="right")
    _add_seconds(table, course, columns)
    told = course.summary()
    for name, title in (("largest", "all: largest"), ("rms", "all: root mean square")):
        table.add_row(title, *(f"{told[link]['policies'][policy][name]:.3g}" for link, policy in columns))
    return table


def _held(course: ValueCourse) -> Table:
    """Return a column a link, under one policy."""
    table = _empty(f"Largest error, {one_line(course.unit)}, under the policy hold last")
    table.add_column("second")
    for link in course.links:
        table.add_column(link, justify="right")
    _add_seconds(table, course, [(link, "hold") for link in course.links])
    return table


def _totals(course: ValueCourse) -> Table:
    """Return a row a link, a column a policy."""
    table = _empty(f"Over all, {one_line(course.unit)}: largest error, root mean square in brackets")
    table.add_column("")
    told = course.summary()
    for policy in POLICIES:
        table.add_column(SHORT[policy], justify="right")
    for link, counts in told.items():
        cells = (counts["policies"][policy] for policy in POLICIES)
        table.add_row(link, *(f"{cell['largest']:.3g} ({cell['rms']:.2g})" for cell in cells))
    return table


def _add_seconds(table: Table, course: ValueCourse, columns: list[tuple[str, str]]) -> None:
    # A second may hold no value of one link and one of another.
    by_second = [dict(zip(*(part.tolist() for part in course.by_second(*key)), strict=True)) for key in columns]
    for second in _seconds(course)[:MOST_ROWS]:
        table.add_row(str(second), *(f"{found[second]:.3g}" if second in found else "" for found in by_second))


def _seconds(course: ValueCourse) -> list[int]:
    """Return the whole seconds that hold a value of some link."""
    return sorted({second for link in course.links for second in course.by_second(link, "use")[0].tolist()})
