"""What every maker of vectors shares: collecting cases, checking what the maker claims, writing the file.

A maker says what the rules demand of each case; framesim must agree, or nothing is written. The independent
checker beside each maker then derives the same answers by another road.
"""

import json
import sys
from collections.abc import Iterable
from dataclasses import fields
from pathlib import Path
from typing import Any

import jsonschema

import framesim as fs

__all__ = ["Group", "VectorFile", "as_data", "canonical"]

HERE = Path(__file__).resolve().parent
LINE = 110


def as_data(value: Any) -> Any:
    """Return a frame, or a field of one, as JSON holds it: bytes as hexadecimal, tuples as arrays."""
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, tuple):
        return list(value)
    if hasattr(value, "__dataclass_fields__"):
        return {field.name: as_data(getattr(value, field.name)) for field in fields(value)}
    return value


def _says(frame: Any, data: dict[str, Any] | None) -> bool:
    """Tell whether ``frame`` is the one in ``data``, as far as fields count when frames are compared."""
    counting = [field.name for field in fields(frame) if field.compare]
    return data is not None and all(as_data(getattr(frame, name)) == data[name] for name in counting)


def canonical(value: Any, indent: str = "") -> str:
    """Return ``value`` as JSON in the one form in which files are kept: lines broken only where too long."""
    flat = json.dumps(value, ensure_ascii=False)
    if len(indent) + len(flat) <= LINE or not isinstance(value, dict | list) or not value:
        return flat
    deeper = indent + " "
    if isinstance(value, dict):
        parts = [f"{json.dumps(key)}: {canonical(item, deeper)}" for key, item in value.items()]
    else:
        parts = [canonical(item, deeper) for item in value]
    left, right = "{}" if isinstance(value, dict) else "[]"
    return f"{left}\n" + ",\n".join(deeper + part for part in parts) + f"\n{indent}{right}"


class Group:
    """Cases with one origin. Make it with ``VectorFile.group``."""

    def __init__(self, file: "VectorFile", source: dict[str, str]) -> None:
        self.file = file
        self.source = source
        self.cases: list[dict[str, Any]] = []

    def sent(self, frame: Any, comment: str, *flags: str) -> fs.WireFrame:
        """Add ``frame`` as its sender puts it on the wire, to be accepted as it is."""
        sent = fs.encode(frame)
        case = self._case(comment, flags, frame, sent.bits.to01())
        case["spans"] = [span._asdict() for span in sent.spans]
        case["inserted"] = list(sent.inserted)
        self._conclude(case, "accepted", None, None)
        return sent

    def flipped(
        self, frame: Any, flips: Iterable[int], comment: str, *flags: str,
        expect: str, received: Any = None, rest: int = 0, at: int | None = None,
    ) -> None:  # fmt: skip
        """Add ``frame`` with wire bits inverted.

        Args:
            frame: the frame sent.
            flips: the wire bits to invert; those past the frame's end need ``rest``.
            comment: one sentence.
            flags: keys of the file's notes.
            expect: ``accepted``, ``incomplete``, the check that must speak first, or ``rejected``: any check.
            received: the frame accepted instead, if the error goes undetected.
            rest: how many resting bits follow the frame.
            at: the wire bit at which the check must speak; None: left to the receiver and the checker.
        """
        places = sorted(set(flips))
        wire = fs.encode(frame).bits.to01() + self.file.idle * rest
        seen = "".join(str(1 - int(bit)) if place in places else bit for place, bit in enumerate(wire))
        case = self._case(comment, flags, frame, seen)
        case["flips"] = places
        self._conclude(case, expect, received, at)

    def made(self, wire: str, comment: str, *flags: str, expect: str, frame: Any = None, at: int | None = None) -> None:
        """Add a wire made by hand; ``frame`` is what it means, if anything. The rest as for ``flipped``."""
        self._conclude(self._case(comment, flags, frame, wire), expect, None, at)

    def _case(self, comment: str, flags: Iterable[str], frame: Any, wire: str) -> dict[str, Any]:
        case = {"id": 0, "comment": comment, "flags": list(flags), "frame": as_data(frame), "wire": wire}
        self.cases.append(case)
        return case

    def _conclude(self, case: dict[str, Any], expect: str, received: Any, at: int | None) -> None:
        """Fill in the answer; what the maker claims and what framesim concludes must be one."""
        got = fs.receive([int(bit) for bit in case["wire"]], self.file.network)
        word = "accepted" if got.accepted else str(got.check) if got.check else "incomplete"
        agrees = word == expect or (expect == "rejected" and got.check is not None)
        if not agrees or at not in (None, got.at):
            raise SystemExit(f"{case['comment']}: claimed {expect} at {at}, framesim says {word} at {got.at}")
        if received is not None:
            case["received"] = as_data(received)
        if got.accepted and not _says(got.frame, case.get("received", case["frame"])):
            raise SystemExit(f"{case['comment']}: framesim accepts {got.frame}")
        case["expect"] = word if word in ("accepted", "incomplete") else "rejected"
        case["check"] = None if got.check is None else str(got.check)
        case["at"] = got.at


class VectorFile:
    """One network's vectors in the making.

    Attributes:
        network: the network's name.
        idle: the level of the resting wire, as text.
    """

    def __init__(self, network: str, *, idle: str = "1") -> None:
        self.network = network
        self.idle = idle
        self.notes: dict[str, dict[str, str]] = {}
        self.groups: list[Group] = []

    def note(self, flag: str, kind: str, meaning: str, if_you_fail: str) -> str:
        """Explain a flag, and return it."""
        self.notes[flag] = {"kind": kind, "meaning": meaning, "if_you_fail": if_you_fail}
        return flag

    def group(self, name: str, cite: str) -> Group:
        """Start a group; ``cite`` is a key of ``sources.json``."""
        checker = f"made/check_{self.network.replace('-', '_')}.py"
        group = Group(self, {"id": name, "cite": f"sources.json#{cite}", "checked_by": checker})
        self.groups.append(group)
        return group

    def document(self) -> dict[str, Any]:
        """Return the file's content, ids and count assigned."""
        cases = [case for group in self.groups for case in group.cases]
        for number, case in enumerate(cases, start=1):
            case["id"] = number
        return {
            "schema": "frame_vectors.schema.json",
            "network": self.network,
            "count": len(cases),
            "notes": self.notes,
            "groups": [{"source": group.source, "cases": group.cases} for group in self.groups],
        }

    def write(self) -> None:
        """Write ``NETWORK.json`` (dashes as underscores) into ``vectors/``, or the folder given as argument.

        An invalid document leaves the old file as it was.
        """
        document = self.document()
        schema = json.loads((HERE.parent / "frame_vectors.schema.json").read_text(encoding="utf-8"))
        jsonschema.Draft202012Validator(schema).validate(document)
        folder = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent
        path = folder / f"{self.network.replace('-', '_')}.json"
        path.write_text(canonical(document) + "\n", encoding="utf-8")
        print(f"{path.name}: {document['count']} cases")
