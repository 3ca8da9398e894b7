"""The keys of a scenario's link and analog line, read off their records, for the docs."""

import dataclasses
import re
from typing import Any

from framesim.analog import AnalogLine
from framesim.coverage.scenario import OTHER_LINKS
from framesim.disturbance import CanLink
from framesim.disturbance.knobs import KNOBS
from framesim.plain import attribute_texts

__all__ = ["keys_block", "with_keys"]

BEGIN, END = "<!-- generated: keys -->", "<!-- end generated -->"


def keys_block() -> str:
    """Return the tables as Markdown, markers included."""
    lines = [BEGIN]
    others = [(f"links.{name}", record) for name, record in OTHER_LINKS.items()]
    for name, record in (("link", CanLink), ("analog", AnalogLine), *others):
        about = attribute_texts(record)
        lines += [f"`[{name}]`", "", "| key | default | meaning |", "|---|---|---|"]
        for field in dataclasses.fields(record):
            default = _default(field)
            lines.append(f"| `{field.name}` | {default} | {about[field.name].rstrip('.')} |")
        lines.append("")
    return "\n".join([*lines[:-1], END])


def _default(field: "dataclasses.Field[Any]") -> str:
    """Return a field's default as the table shows it."""
    if field.default is None:
        return "the severity's" if field.name in KNOBS else "none"
    return f"`{field.default}`" if isinstance(field.default, str) else f"{field.default:g}"


def with_keys(page: str) -> str:
    """Return the page with its block of keys made anew."""
    return re.sub(f"{re.escape(BEGIN)}.*?{re.escape(END)}", lambda _: keys_block(), page, flags=re.DOTALL)
