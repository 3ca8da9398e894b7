"""The generated part of a network's page in the docs: its fields, and its receiver as a diagram.

Everything here is read off the layout, so the page cannot drift from the code. In a page the part stands between
``<!-- generated: layout NETWORK -->`` and ``<!-- end generated -->``.
"""

import re

from framesim.networks import registry
from framesim.networks.layout import Field, Layout
from framesim.networks.network import Network
from framesim.networks.transitions import mermaid

__all__ = ["END_MARK", "field_table", "layout_block", "networks_shown", "receiver_diagram", "regenerated"]

END_MARK = "<!-- end generated -->"
BLOCK = re.compile(r"(<!-- generated: layout (\S+) -->\n).*?(<!-- end generated -->)", re.DOTALL)
SHORT = 8  # fixed levels of fewer bits are shown bit by bit
COLUMNS = ("field", "bits", "value", "guarded by", "line code", "clause", "about")


def regenerated(page: str) -> str:
    """Return ``page`` with every generated part made anew.

    Raises:
        BadArgument: a part names a network that there is not.
    """
    return BLOCK.sub(lambda found: found[1] + layout_block(registry.network(found[2])) + found[3], page)


def networks_shown(page: str) -> tuple[str, ...]:
    """Return the networks that have a generated part in ``page``."""
    return tuple(found[2] for found in BLOCK.finditer(page))


def layout_block(network: Network) -> str:
    """Return the whole generated part: field table, further demands, receiver diagram."""
    parts = [field_table(network.layout), _in_words(network.layout), receiver_diagram(network)]
    return "\n" + "\n\n".join(part for part in parts if part) + "\n\n"


def field_table(layout: Layout) -> str:
    """Return the fields in wire order as a Markdown table."""
    rows = [_row(layout, field) for field in layout.fields]
    lines = [_line(COLUMNS), _line(["---"] * len(COLUMNS)), *(_line(row) for row in rows)]
    return "\n".join(lines)


def receiver_diagram(network: Network) -> str:
    """Return the receiver's transition table as a fenced Mermaid diagram."""
    return f"```mermaid\n{mermaid(network.transitions)}\n```"


def _line(cells: list[str] | tuple[str, ...]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _row(layout: Layout, field: Field) -> list[str]:
    return [
        field.name,
        _bits(field) + (f" ({field.when.name})" if field.when else ""),
        _value(field),
        _guards(layout, field),
        field.coding.name,
        field.clause,
        field.about,
    ]


def _bits(field: Field) -> str:
    """How wide the field is, as far as that can be said without a frame."""
    unit = " whole bytes" if field.octets else " whole nibbles" if field.nibbles else ""
    if field.elastic:
        return f"about {field.width}"
    if isinstance(field.width, int):
        return str(field.width) if field.width >= 0 else f"up to the end{',' + unit if unit else ''}"
    return f"depends{',' + unit if unit else ''}"


def _value(field: Field) -> str:
    """Where the value comes from."""
    order = ", least significant bit first" if field.lsb_first else ""
    if field.level is not None:
        short = isinstance(field.width, int) and 0 < field.width < SHORT
        return f"always {field.level:0{field.width}b}" if short else f"always {field.level:#x}{order}"
    if field.guard is None:
        return f"the frame's{order}"
    covers = field.guard.covers
    over = f" over {covers[0]} … {covers[-1]}" if len(covers) > 1 else f" over {covers[0]}" if covers else ""
    return f"{field.guard.code or field.guard.check.value}{over}{order}"


def _guards(layout: Layout, field: Field) -> str:
    """The checks that can speak when a bit of the field is wrong, in the order in which a reader meets them."""
    checks = [*field.coding.checks, *([field.check] if field.check else [])]
    for other in layout.fields:
        if other.guard and (other is field or field.name in other.guard.covers):
            checks.append(other.guard.check)
    checks += [rule.check for rule in layout.rules if rule.at_end_of == field.name and rule.check]
    checks += [limit.check for limit in layout.limits_in[layout.place[field.name]]]
    names = list(dict.fromkeys(check.value for check in checks))
    return ", ".join(names) if names else "nothing"


def _in_words(layout: Layout) -> str:
    """What the table has no column for."""
    valid = layout.fields[layout.accept_index].name
    lines = [f"- Between frames the wire rests at {layout.idle}.", f"- A frame is valid at the end of {valid}."]
    for field in layout.fields:
        if field.guard and field.guard.spoken_after:
            lines.append(f"- A wrong {field.name} is spoken at the end of {field.guard.spoken_after}.")
        if field.abandons:
            lines.append(f"- At another level of {field.name} the receiver leaves the frame and says nothing.")
    for rule in layout.rules:
        said = f"`{rule.check.value}` speaks" if rule.check else "the receiver leaves the frame"
        lines.append(f"- At the end of {rule.at_end_of}, unless the demand is met, {said}: {rule.clause}.")
    for limit in layout.limits:
        lines.append(f"- `{limit.check.value}` limits {limit.first} to {limit.last}: {limit.clause}.")
    return "\n".join(lines)
