"""A network of our own, whole: what it takes to add one. Invented; no real link looks like this."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from framesim.codes import even_parity
from framesim.errors import check_range
from framesim.networks.layout import Condition, Field, Guard, Layout
from framesim.networks.network import Network
from framesim.words import Check

__all__ = ["TOY", "ToyFrame"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToyFrame:
    """Up to three bytes from one of sixteen brush heads."""

    address: int
    payload: bytes = b""

    def __post_init__(self) -> None:
        check_range("address", self.address, 0, 15)
        check_range("len(payload)", len(self.payload), 0, 3, base="d")


COVERED = ("address", "length", "data")


def assemble(values: Mapping[str, Any]) -> ToyFrame:
    return ToyFrame(address=values["address"], payload=values.get("data", b""))


LAYOUT = Layout(
    fields=(
        Field(name="start", width=1, level=0, clause="toy 1"),
        Field(name="address", width=4, clause="toy 2", source=lambda frame: frame.address),
        Field(name="length", width=2, clause="toy 3", source=lambda frame: len(frame.payload), steers=True),
        Field(name="data", width=lambda values: 8 * values["length"], clause="toy 4", octets=True,
              when=Condition("with data", lambda values: values["length"] > 0), source=lambda frame: frame.payload),
        Field(name="parity", width=1, clause="toy 5",
              guard=Guard(check=Check.PARITY, covers=COVERED,
                          expected=lambda view: even_parity(view.bits(*COVERED)))),
        Field(name="stop", width=1, level=1, check=Check.FORM, clause="toy 6"),
    ),
)  # fmt: skip

TOY = Network(name="toy", title="the toy link", standard="none", frame_type=ToyFrame, layout=LAYOUT, assemble=assemble)
