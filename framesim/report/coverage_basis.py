"""What a coverage run rests on, as tables: every number of cause, link and analog line, with how well it is known."""

from collections.abc import Mapping, Sequence
from typing import Any

from framesim.report.page import Number, Table, number_at

__all__ = ["basis_tables"]

Record = Mapping[str, Any]


def basis_tables(record: Record) -> list[Table]:
    """Return every number that the disturbance rests on, with how well it is known, one table a kind."""
    given = record["disturbance"]
    columns = list(given)
    sources = {column: given[column]["source"] for column in columns}
    tables = []
    first = sources[columns[0]]
    plain = [key for key, value in first.items() if isinstance(value, int | float | str) and key != "caution"]
    rows = [
        [key.replace("_", " "), *(number_at(record, "disturbance", c, "source", key) for c in columns)] for key in plain
    ]
    tables.append(Table("The cause", ["", *columns], rows))
    if "knobs" in first:
        rows = []
        for key, knob in first["knobs"].items():
            values = [number_at(record, "disturbance", c, "source", "knobs", key, "value") for c in columns]
            rows.append([key.replace("_", " "), *values, knob["unit"] or "", _bases(sources, key)])
        tables.append(Table("The engine's interference, number by number", ["", *columns, "unit", "how known"], rows))
    tables += [
        Table(part.replace("_", " "), ["", *columns, "how known"], _part_rows(record, part, columns))
        for part in given[columns[0]]
        if part != "source"
    ]
    return tables


def _bases(sources: Mapping[str, Record], key: str) -> str:
    return " / ".join(dict.fromkeys(source["knobs"][key]["basis"] for source in sources.values()))


def _part_rows(record: Record, part: str, columns: Sequence[str]) -> list[list[Any]]:
    first = record["disturbance"][columns[0]][part]
    if not isinstance(first, dict):
        return []
    rows = []
    for key, value in first.items():
        if key == "kind" or isinstance(value, list | dict):
            continue
        cells = [_cell(record, "disturbance", column, part, key) for column in columns]
        rows.append([key.replace("_", " "), *cells, "estimate" if key in first.get("estimates", ()) else "given"])
    return rows


def _cell(record: Record, *keys: str) -> Number | str:
    cell = number_at(record, *keys)
    return "the severity's" if cell == "–" else cell
