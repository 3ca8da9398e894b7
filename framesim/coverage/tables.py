"""From a TOML table to a record, with errors that name file, key and expected form.

The record's own dataclass says which keys there are and of what type, so nothing is declared twice.
"""

import dataclasses
import math
import types
from collections.abc import Mapping
from difflib import get_close_matches
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from framesim.errors import BadArgument, BadInput

__all__ = ["build", "expect_keys", "expect_type", "shown"]

Record = TypeVar("Record")


def build(
    record: type[Record],
    table: object,
    *,
    file: str,
    key: str,
    given: Mapping[str, Any] | None = None,
    skip: frozenset[str] = frozenset(),
) -> Record:
    """Return a ``record`` filled from ``table``.

    Args:
        record: a dataclass whose constructor checks its values.
        table: the TOML table.
        file: the file's name, for messages.
        key: the table's key, for messages; empty for the file's top level.
        given: fields that do not come from the table.
        skip: keys of the table that somebody else reads.

    Raises:
        BadInput: not a table, an unknown key, a wrong type, a missing key, or a value that the record refuses.
    """
    table = expect_type(table, dict, file=file, key=key or "top level")
    assert isinstance(table, dict)
    given = given or {}
    fields = {field.name: field for field in dataclasses.fields(record) if field.init}  # type: ignore[arg-type]
    allowed = [name for name in fields if name not in given]
    expect_keys(table, [*allowed, *skip], file=file, key=key)
    hints = get_type_hints(record)
    values = dict(given)
    for name in allowed:
        if name in table and name not in skip:
            values[name] = expect_type(table[name], hints[name], file=file, key=_join(key, name))
        elif name not in skip and _is_required(fields[name]):
            raise BadInput(f"{file}: {_join(key, name)}: missing; expected {_form(hints[name])}")
    try:
        return record(**values)
    except BadArgument as refusal:
        raise BadInput(f"{file}: {_join(key, str(refusal))}") from None


def expect_keys(table: Mapping[str, Any], allowed: list[str], *, file: str, key: str) -> None:
    """Raise unless every key of ``table`` is allowed; the message suggests the nearest.

    Raises:
        BadInput: an unknown key.
    """
    for name in table:
        if name not in allowed:
            near = get_close_matches(name, allowed, n=1)
            hint = f"did you mean {near[0]!r}?" if near else f"expected one of {', '.join(sorted(allowed))}"
            raise BadInput(f"{file}: {_join(key, name)}: unknown key; {hint}")


def expect_type(value: object, hint: Any, *, file: str, key: str) -> Any:
    """Return ``value`` as the type ``hint`` asks for; an int may stand for a float, hex text for bytes.

    Raises:
        BadInput: another type, or a number that is not finite.
    """
    fitted = _fit(value, hint)
    if fitted is _NO:
        raise BadInput(f"{file}: {key}: expected {_form(hint)}, got {shown(value)}")
    return fitted


_NO = object()
LONGEST_SHOWN = 60
MOST = 1e300  # a larger number fits no formula


def shown(value: object) -> str:
    """Return a value as a message may show it: short."""
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) > MOST:
        return "a number of more than 300 digits"
    text = repr(value) if not isinstance(value, dict) else "a table"
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}..."


def _fit(value: object, hint: Any) -> Any:
    origin, arguments = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        fitted = (_fit(value, argument) for argument in arguments if argument is not type(None))
        return next((found for found in fitted if found is not _NO), _NO)
    if origin is Literal:
        return value if value in arguments else _NO
    if origin is tuple:
        return _fit_tuple(value, arguments)
    if hint is float:
        if isinstance(value, bool) or not isinstance(value, int | float) or abs(value) > MOST:
            return _NO
        return float(value) if math.isfinite(value) else _NO
    if hint is int:
        return value if isinstance(value, int) and not isinstance(value, bool) else _NO
    if hint is bytes:
        try:
            return bytes.fromhex(value) if isinstance(value, str) else _NO
        except ValueError:
            return _NO
    return value if isinstance(value, hint) else _NO


def _fit_tuple(value: object, arguments: tuple[Any, ...]) -> Any:
    if not isinstance(value, list):
        return _NO
    hints = [arguments[0]] * len(value) if arguments[-1] is Ellipsis else list(arguments)
    if len(hints) != len(value):
        return _NO
    fitted = tuple(_fit(item, hint) for item, hint in zip(value, hints, strict=True))
    return _NO if any(item is _NO for item in fitted) else fitted


def _form(hint: Any) -> str:
    """Say in words what ``hint`` asks for."""
    origin, arguments = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return " or ".join(_form(argument) for argument in arguments if argument is not type(None))
    if origin is Literal:
        return "one of " + ", ".join(repr(argument) for argument in arguments)
    if origin is tuple:
        return f"a list of {_form(arguments[0]).replace('a list of', 'lists of')}"
    names = {
        float: "a finite number",
        int: "a whole number",
        bool: "true or false",
        str: "text in quotes",
        bytes: "bytes as hex text",
        dict: "a table",
    }
    return names.get(hint, getattr(hint, "__name__", str(hint)))


def _join(key: str, name: str) -> str:
    return f"{key}.{name}" if key else name


def _is_required(field: dataclasses.Field[Any]) -> bool:
    return field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
