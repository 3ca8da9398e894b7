"""The keys of a scenario's link and analog line, read off their records, for the docs."""

import dataclasses
import re

from framesim.analog import AnalogLine
from framesim.coverage.scenario import OTHER_LINKS
from framesim.disturbance import CanLink
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
            default = "the severity's" if field.default is None else f"{field.default:g}"
            lines.append(f"| `{field.name}` | {default} | {about[field.name].rstrip('.')} |")
        lines.append("")
    return "\n".join([*lines[:-1], END])


def with_keys(page: str) -> str:
    """Return the page with its block of keys made anew."""
    return re.sub(f"{re.escape(BEGIN)}.*?{re.escape(END)}", lambda _: keys_block(), page, flags=re.DOTALL)
