"""A format as it is for one frame: widths and order of its fields fixed, so that values no longer steer anything.

A receiver of this format is the real one as long as it reads the steering values that were sent. For every other
value it is asked of the real layout whether anything that follows would differ.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from bitarray import bitarray

from framesim.coverage.fast.differences import Added, Bits, Differences, Wireless, agrees, says_so
from framesim.errors import NotFeasible
from framesim.networks.encoder import field_bits
from framesim.networks.layout import Field, Layout
from framesim.networks.network import Network
from framesim.networks.view import Piece, View
from framesim.wire import WireFrame

__all__ = ["Steering", "bits_by_field", "limits_of", "steady", "steering_of", "with_guards"]

WIDEST = 10  # bits of a steering value; each value is tried


def bits_by_field(layout: Layout, sent: WireFrame) -> dict[str, bitarray]:
    """Return the frame's bits by field, line code removed, up to the field that makes it valid.

    Fields whose line code ends them are left out: what their bits are means nothing.
    """
    found, view = {}, Wireless()
    for name in sent.fields:
        row = layout.place[name]
        field = layout.fields[row]
        bits, value = field_bits(field, sent.frame, view)
        view.values[name], view.pieces[name] = value, Piece(bits, 0, len(bits))
        if row <= layout.accept_index and not field.elastic:
            found[name] = bits
    return found


def limits_of(layout: Layout, sent: WireFrame) -> tuple[int, ...]:
    """Return how long the limits of a layout are for a frame."""
    values = _values(layout, sent)
    return tuple(limit.most(values) for limit in layout.limits)


def steady(network: Network, names: tuple[str, ...], widths: Mapping[str, int], limits: tuple[int, ...]) -> Network:
    """Return the network with the layout as it is for some frames; no guard and no rule is left in it.

    Args:
        network: of the frames, configured as their receivers are.
        names: of their fields, in wire order.
        widths: bits of each field, where they are not those of the layout.
        limits: the most of each limit.
    """
    layout = network.layout
    fields = []
    for name in names:
        field = layout.fields[layout.place[name]]
        plain = replace(field, when=None, steers=False, width=widths.get(name, field.width))
        fields.append(replace(plain, guard=None, level=0, check=None) if field.guard else plain)
    fixed = tuple(
        replace(limit, most=lambda _, most=most: most)  # type: ignore[misc]
        for limit, most in zip(layout.limits, limits, strict=True)
    )
    steadied = replace(layout, fields=tuple(fields), limits=fixed, rules=())
    return replace(network, layout=steadied, configured_for=None)


@dataclass(frozen=True, kw_only=True)
class Steering:
    """The field whose value decides what follows it.

    Attributes:
        name: of the field.
        asked_after: the field at whose end a receiver may go another way.
        allowed: for each value, whether everything stays as it is for the one sent.
    """

    name: str
    asked_after: str
    allowed: tuple[bool, ...]


def steering_of(network: Network, sent: WireFrame) -> Steering | None:
    """Return the steering field of a frame, or None if nothing steers.

    Raises:
        NotFeasible: several fields steer, or too wide a one.
    """
    layout = network.layout
    names = [name for name in sent.fields if layout.fields[layout.place[name]].steers]
    if not names:
        return None
    first = layout.fields[layout.place[names[0]]]
    width = first.width_given({})
    if len(names) > 1 or width > WIDEST:
        raise NotFeasible(f"walked: {len(names)} fields of {network.title} steer, {names[0]} is {width} bits wide")
    values = _values(layout, sent)
    after = sent.fields[sent.fields.index(first.name) + 1 :]
    asked_after = next(
        (before for before, name in zip((first.name, *after), after, strict=False) if _depends(layout, before, name)),
        None,
    )
    if asked_after is None:
        return None
    own = _onward(layout, first, values)
    allowed = tuple(_onward(layout, first, {**values, first.name: value}) == own for value in range(1 << width))
    return Steering(name=first.name, asked_after=asked_after, allowed=allowed)


def with_guards(
    steering: Steering, fields: tuple[Field, ...], bits: Bits, guards: Mapping[str, Differences | Added]
) -> Steering:
    """Return the steering with those values taken out for which some of the guards that speak later are others."""
    field = next(field for field in fields if field.name == steering.name)
    allowed = []
    for value, fits in enumerate(steering.allowed):
        read = bitarray(f"{value:0{len(bits[field.name])}b}")
        other = {**bits, field.name: read[::-1] if field.lsb_first else read}
        allowed.append(
            fits
            and all(
                says_so(fields, guarded.guard, bits, made, other)
                and (
                    isinstance(made, Differences) or agrees(fields, guarded.guard, other, made, frozenset({field.name}))
                )
                for guarded in fields
                if guarded.guard and (made := guards.get(guarded.name)) is not None
            )
        )
    return replace(steering, allowed=tuple(allowed))


def _values(layout: Layout, sent: WireFrame) -> dict[str, Any]:
    """Return the values of the fields that have a source in the frame."""
    own = [layout.fields[layout.place[name]] for name in sent.fields]
    return {field.name: field.source(sent.frame) for field in own if field.source is not None}


def _depends(layout: Layout, before: str, name: str) -> bool:
    """Tell whether what a receiver does from the end of one field on may depend on values read."""
    field = layout.fields[layout.place[name]]
    ruled = any(rule.check is None for rule in layout.rules_at.get(layout.place[before], ()))
    limited = any(limit.first == name for limit in layout.limits)
    return ruled or limited or callable(field.width) or len(layout.successors[layout.place[before]]) > 1


def _onward(layout: Layout, first: Field, values: Mapping[str, Any]) -> tuple[Any, ...]:
    """Return everything that follows a field, given what is read in it."""
    found: list[Any] = []
    view = View()
    view.values = dict(values)
    row: int | None = layout.place[first.name]
    while row is not None and row <= layout.accept_index:
        field = layout.fields[row]
        limits = [limit.most(values) for limit in layout.limits if limit.first == field.name]
        rules = [rule.holds(view) for rule in layout.rules_at.get(row, ()) if rule.check is None]
        found.append((row, field.width_given(values), tuple(limits), tuple(rules)))
        row = layout.following(row, values)
    return tuple(found)
