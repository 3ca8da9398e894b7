"""Frames of a unit on the wire, for networks that are a program of fields."""

from collections import Counter
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.fast.keyed import Keyed, known_by_all
from framesim.coverage.fast.sending import Drawn, bounds_of
from framesim.judging import encode
from framesim.networks import program_columns as column
from framesim.networks.field_program import Program, field_program
from framesim.networks.network import Network
from framesim.wire import WireFrame

if TYPE_CHECKING:
    from framesim.coverage.fast.work import Sampling

__all__ = ["on_the_wire", "wires_of"]


def on_the_wire(sent: list[WireFrame]) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
    """Return frames as rows of levels, and their lengths."""
    lengths = np.array([len(wire) for wire in sent], np.int64)
    wires = np.zeros((len(sent), int(lengths.max(initial=1))), np.uint8)
    for row, wire in zip(wires, sent, strict=True):
        row[: len(wire)] = np.frombuffer(wire.bits.unpack(), np.uint8)
    return wires, lengths


def wires_of(network: Network, work: "Sampling", drawn: Drawn) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
    """Return the frames of a unit as rows of levels, and their lengths."""
    parts = []
    for source, payloads in zip(work.sources, drawn.payloads, strict=True):
        template = _template(network, known_by_all(source))
        parts.append(template.lay(field_program(network), payloads) if len(payloads) else None)
    used: Counter[int] = Counter(drawn.template.tolist())
    widest = max(parts[index][0].shape[1] for index in used)  # type: ignore[index]  # those used have frames
    wires = np.zeros((len(drawn.template), widest), np.uint8)
    lengths = np.zeros(len(drawn.template), np.int64)
    for index, part in enumerate(parts):
        if part is not None:
            here = drawn.template == index
            wires[here, : part[0].shape[1]], lengths[here] = part[0][drawn.row[here]], part[1][drawn.row[here]]
    return wires, lengths


@dataclass(frozen=True, kw_only=True, eq=False)
class _Template:
    """Frames that differ in their payload alone.

    Attributes:
        frame: one of them.
        word: dtype uint8. The bits of its fields up to the one that makes it valid, but for codes and stuff bits.
        payload_at: place of the payload among them; None: nowhere byte by byte, so that each frame is encoded.
        nodes: dtype int64. The node of each field.
        tail: dtype uint8. What is sent after that.
        most_bits: no frame is longer.
    """

    frame: Any
    word: NDArray[np.uint8]
    payload_at: int | None
    nodes: NDArray[np.int64]
    tail: NDArray[np.uint8]
    most_bits: int

    def lay(self, program: Program, payloads: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
        """Return frames with these payloads, as rows of levels, and their lengths."""
        from framesim.kernels.field_laying import lay_fields

        if not payloads.shape[1]:
            wires, lengths = on_the_wire([encode(self.frame)])
            return np.repeat(wires, len(payloads), axis=0), np.repeat(lengths, len(payloads))
        if self.payload_at is None:
            return on_the_wire([encode(replace(self.frame, payload=row.tobytes())) for row in payloads])
        words = np.repeat(self.word[None, :], len(payloads), axis=0)
        words[:, self.payload_at : self.payload_at + 8 * payloads.shape[1]] = np.unpackbits(payloads, axis=1)
        wires, lengths = np.zeros((len(payloads), self.most_bits), np.uint8), np.zeros(len(payloads), np.int64)
        room = np.zeros(len(program.codes), np.int64)
        lay_fields(program, words, self.nodes, self.tail, wires, lengths, room)
        return wires[:, : int(lengths.max())], lengths


@lru_cache(maxsize=256)
def _template(network: Network, source: Keyed) -> _Template:
    frame, low, _ = bounds_of(source.value)
    frame = replace(frame, payload=low) if low else frame
    program, layout, sent = field_program(network), network.layout, encode(frame)
    nodes, goal, tail_at = [], int(program.goals[0]), 0
    word: list[int] = []
    payload_at, inserted = None, set(sent.inserted)
    late_code = any(field.guard for field in layout.fields[layout.accept_index + 1 :])
    for name, span in zip(sent.fields, sent.spans, strict=True):
        field = layout.fields[layout.place[name]]
        own = [sent.bits[at] for at in range(span.start, span.stop) if at not in inserted]
        tail_at = span.stop
        nodes.append(goal)
        value = int("".join(map(str, own)), 2) if program.nodes[goal, column.STEERS] else 0
        goal = int(program.goals[program.nodes[goal, column.FIRST] + value])
        if field.octets and field.carries == "payload" and not field.lsb_first and not late_code:
            payload_at = len(word)
        if field.guard is None:
            word += own
        if goal == column.ACCEPTED:
            break
    n_own = int(program.nodes[nodes, column.WIDTH].sum())
    tail = np.frombuffer(sent.bits[tail_at:].unpack(), np.uint8).copy()
    return _Template(
        frame=frame,
        word=np.array(word, np.uint8),
        payload_at=payload_at,
        nodes=np.array(nodes, np.int64),
        tail=tail,
        most_bits=2 * n_own + 2 + len(tail),  # no line code here inserts more than a bit for each
    )
