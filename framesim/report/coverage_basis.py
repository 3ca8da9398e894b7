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
    for keys in _parts(given[columns[0]]):
        rows = _part_rows(record, keys, columns)
        if rows:
            tables.append(Table(": ".join(keys).replace("_", " "), ["", *columns, "how known"], rows))
    return tables


def _parts(given: Record) -> list[tuple[str, ...]]:
    """Return where the lines' numbers stand: the first link, the analog line, and each link beside them."""
    found: list[tuple[str, ...]] = []
    for part, value in given.items():
        if part == "links":
            found += [(part, name) for name in value]
        elif part != "source":
            found.append((part,))
    return found


def _bases(sources: Mapping[str, Record], key: str) -> str:
    return " / ".join(dict.fromkeys(source["knobs"][key]["basis"] for source in sources.values()))


def _part_rows(record: Record, keys: Sequence[str], columns: Sequence[str]) -> list[list[Any]]:
    first = record["disturbance"][columns[0]]
    for key in keys:
        first = first[key]
    if not isinstance(first, dict):
        return []
    rows = []
    for key, value in first.items():
        if key == "kind" or isinstance(value, list | dict):
            continue
        cells = [_cell(record, "disturbance", column, *keys, key) for column in columns]
        rows.append([key.replace("_", " "), *cells, "estimate" if key in first.get("estimates", ()) else "given"])
    return rows


def _cell(record: Record, *keys: str) -> Number | str:
    cell = number_at(record, *keys)
    return "the severity's" if cell == "–" else cell
