"""A network so small that every wire its receivers can meet can be listed."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from framesim.codes import crc
from framesim.linecoding.stuffing import DynamicStuffing
from framesim.networks import registry
from framesim.networks.layout import Condition, Field, Guard, Layout
from framesim.networks.network import Network
from framesim.words import Check

__all__ = ["ToyFrame", "toy_network"]

COVERED = ("start", "number", "spare", "length", "data")


@dataclass(frozen=True, slots=True, kw_only=True)
class ToyFrame:
    """A frame of it."""

    number: int
    payload: int = 0
    long: bool = False


def make_toy(*, run: int, number_bits: int, data_bits: int, at_end: bool) -> Network:
    """Return a network with a reserved bit, a length code, a four-bit CRC that starts at 3, and an answer slot."""
    stuffed = DynamicStuffing(run=run, at_end=at_end)
    guard = Guard(
        check=Check.CRC,
        expected=lambda view: crc("CRC-4/SENT").of(view.bits(*COVERED)),
        covers=COVERED,
        code="CRC-4/SENT",
        spoken_after="answer end",
    )
    fields = (
        Field(name="start", width=1, level=0, coding=stuffed, clause="toy"),
        Field(name="number", width=number_bits, coding=stuffed, clause="toy", source=lambda frame: frame.number),
        Field(name="spare", width=1, coding=stuffed, clause="toy", level=0),
        Field(name="length", width=1, coding=stuffed, clause="toy", steers=True, source=lambda frame: int(frame.long)),
        Field(name="data", width=data_bits, coding=stuffed, clause="toy", source=lambda frame: frame.payload,
              when=Condition("with data", lambda values: values["length"] == 1)),
        Field(name="sum", width=4, coding=stuffed, clause="toy", guard=guard),
        Field(name="sum end", width=1, level=1, check=Check.FORM, clause="toy"),
        Field(name="answer", width=1, level=0, clause="toy"),
        Field(name="answer end", width=1, level=1, check=Check.FORM, clause="toy"),
        Field(name="end", width=1, level=1, check=Check.FORM, clause="toy"),
        Field(name="last", width=1, level=1, clause="toy"),
    )  # fmt: skip
    return Network(
        name="toy",
        title="a toy",
        standard="none",
        frame_type=ToyFrame,
        layout=Layout(accept_after="end", fields=fields),
        assemble=lambda values: ToyFrame(
            number=values["number"], payload=values.get("data", 0), long=bool(values["length"])
        ),
        monitors=True,
        acknowledged_in=frozenset({"answer"}),
    )


@contextmanager
def toy_network(*, run: int, number_bits: int, data_bits: int, at_end: bool) -> Iterator[Network]:
    """Have the toy among the registered networks for a while, in place of another that may be there."""
    made = make_toy(run=run, number_bits=number_bits, data_bits=data_bits, at_end=at_end)
    before = registry._EXTRA.pop(made.name, None)
    registry.register(made)
    try:
        yield made
    finally:
        del registry._EXTRA[made.name]
        if before is not None:
            registry.register(before)
