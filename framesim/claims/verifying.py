"""Repeat what an evidence folder says: hashes, every counterexample, every claim."""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import isclose
from pathlib import Path
from typing import Any

from bitarray import bitarray

from framesim import __version__
from framesim.claims.checking import UNREACHED, Progress, decide_all
from framesim.claims.evidence import (
    CLAIMS,
    FINDINGS,
    MANIFEST,
    PAGE,
    RUN,
    evidence_files,
    hash_of,
    libraries,
)
from framesim.claims.manifest import examined
from framesim.claims.reading import claims_from_text
from framesim.codes import crc, crc_from_polynomial
from framesim.errors import BadInput, FramesimError
from framesim.judging import receive
from framesim.plain import frame_fields

__all__ = ["Verified", "verify"]

CLOSE = 1e-9  # two machines may differ in the last digits of a float


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """What became of an evidence folder.

    Attributes:
        folder: its name as given.
        digest: as the manifest states it; empty if there is none that can be read.
        problems: one sentence for each thing that is not as it should be.
        replayed: ids of claims whose counterexample was put through the receiver, or the code, again.
        repeated: ids of claims that were decided again, with the same finding.
        left_out: ids of claims that were not decided again, since the run, or this one, had not reached them.
        notes: what a reader should know.
        interrupted: from the keyboard, before all claims were decided again.
    """

    folder: str
    digest: str = ""
    problems: tuple[str, ...] = ()
    replayed: tuple[str, ...] = ()
    repeated: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    interrupted: bool = False

    @property
    def holds(self) -> bool:
        """Whether nothing was found wrong."""
        return not self.problems

    def record(self) -> dict[str, Any]:
        """Return the result, ready for JSON."""
        return {
            "folder": self.folder,
            "holds": self.holds,
            "digest": self.digest,
            "problems": list(self.problems),
            "replayed": list(self.replayed),
            "repeated": list(self.repeated),
            "left_out": list(self.left_out),
            "notes": list(self.notes),
            "version": __version__,
        }


def verify(
    folder: str, *, render: Callable[[dict[str, Any]], str] | None = None, progress: Progress | None = None
) -> Verified:
    """Examine an evidence folder: nothing in it is trusted, and where it lies does not matter.

    Files are compared with the manifest, every counterexample is replayed, and every claim is decided again.

    Args:
        folder: the folder.
        render: makes the page from the record, to compare it as well; None: the page is only hashed.
        progress: called now and then.

    Raises:
        BadInput: there is no such folder, or no manifest in it.
    """
    place = Path(folder)
    if not (place / MANIFEST).is_file():
        raise BadInput(f"{folder}: expected an evidence folder, with a file {MANIFEST}")
    manifest, problems = examined(place)
    if problems:
        return Verified(folder=folder, digest=str(manifest.get("digest", "")), problems=tuple(problems))
    digest = manifest["digest"]
    try:
        record, notes = _record(place)
        claims = claims_from_text((place / CLAIMS).read_bytes().decode(), file=CLAIMS)
        replayed, problems = _replayed(record)
    except (FramesimError, OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        # The hashes agree, so whoever made the folder made it so.
        return Verified(folder=folder, digest=digest, problems=(f"not evidence as it is written here: {error!r}",))
    left_out = tuple(row["id"] for row in record["claims"] if record["partial"] and _unreached(row))
    wanted = tuple(claim for claim in claims.claims if claim.name not in left_out)
    again = decide_all(replace(claims, claims=wanted), progress=progress)
    fresh = json.loads(again.to_json())
    if again.partial:  # what was not reached this time is not compared
        left_out += tuple(row["id"] for row in fresh["claims"] if _unreached(row))
        fresh["claims"] = [row for row in fresh["claims"] if not _unreached(row)]
    repeated, differing = _repeated(record, fresh, left_out)
    problems += differing
    if again.partial:
        problems.append("interrupted before all claims were decided again")
    if not problems and not notes and not left_out:
        # The same versions: all files must come out the same, byte for byte.
        page = (place / PAGE).read_text(encoding="utf-8") if render is None else render(again.record())
        made = {name: hash_of(text.encode()) for name, text in evidence_files(again, page).items()}
        names = sorted({*made, *manifest["files"]})
        problems += [
            f"{name}: made again, it differs" for name in names if made.get(name) != manifest["files"].get(name)
        ]
    return Verified(
        folder=folder,
        digest=digest,
        problems=tuple(problems),
        replayed=tuple(replayed),
        repeated=tuple(repeated),
        left_out=left_out,
        notes=tuple(notes),
        interrupted=again.partial,
    )


def _record(place: Path) -> tuple[dict[str, Any], list[str]]:
    """Return the findings, of which the keys that are used here are there; and notes on versions."""
    record = json.loads((place / FINDINGS).read_text(encoding="utf-8"))
    for row in record["claims"]:
        if not isinstance(row["id"], str) or not isinstance(row["verdict"], str):
            raise TypeError("id, verdict: expected text")
    record["partial"] = bool(record["partial"])
    return record, _notes(place, record)


def _unreached(row: dict[str, Any]) -> bool:
    return all(row.get(key) == value for key, value in UNREACHED.describe().items())


def _repeated(record: dict[str, Any], again: dict[str, Any], left_out: tuple[str, ...]) -> tuple[list[str], list[str]]:
    """Compare the findings with those made again; return the claims that agree, and what differs."""
    stated = [row for row in record["claims"] if row["id"] not in left_out]
    problems = []
    if [row["id"] for row in stated] != [row["id"] for row in again["claims"]]:
        return [], [f"{FINDINGS}: its claims are not those of {CLAIMS}"]
    good = []
    for row, fresh in zip(stated, again["claims"], strict=True):
        differing = list(_differing(row, fresh, ""))
        problems += [f"claim {row['id']}: decided again, it differs in {where[1:]}" for where in differing[:3]]
        if not differing:
            good.append(row["id"])
    if not left_out:
        head = [where[1:] for where in _differing({**record, "claims": []}, {**again, "claims": []}, "")]
        problems += [f"{FINDINGS}: {where} differs" for where in head if where != "version"]
    return good, problems


def _replayed(record: dict[str, Any]) -> tuple[list[str], list[str]]:
    """Put every counterexample through the receiver, or the code, again."""
    good: list[str] = []
    bad: list[str] = []
    for row in record["claims"]:
        example = row["counterexample"]
        if example is None or example["kind"] == "figure":
            continue
        holds = _passes_receiver(example) if example["kind"] == "frame" else _passes_code(example)
        (good if holds else bad).append(row["id"])
    return good, [f"claim {name}: its counterexample does not pass" for name in bad]


def _passes_receiver(example: dict[str, Any]) -> bool:
    reception = receive(bitarray(example["wire"]), example["network"])
    if not reception.accepted or reception.frame is None:
        return False
    accepted = frame_fields(reception.frame)
    return bool(accepted == example["accepted"] and accepted != example["sent"])


def _passes_code(example: dict[str, Any]) -> bool:
    told = example["code"]
    polynomial, width = int(told["polynomial"], 16), told["width"]
    code = crc_from_polynomial(polynomial, width)
    if not told["name"].startswith(f"CRC-{width}/0x"):
        code = crc(told["name"])
    data = bitarray(told["data_bits"])
    data.setall(0)
    word = data + code.sequence(data)
    for place in example["flips"]:
        word.invert(place)
    return bool(example["flips"]) and code.accepts(word)


def _notes(place: Path, record: dict[str, Any]) -> list[str]:
    run = json.loads((place / RUN).read_text(encoding="utf-8"))
    made, here = dict(run["made"]["versions"]), libraries()
    notes = [
        f"made with {name} {made.get(name, 'none')}, repeated with {here.get(name, 'none')}"
        for name in sorted({*made, *here})
        if made.get(name) != here.get(name)
    ]
    if record["partial"]:
        notes.append("the run was interrupted")
    return notes


def _differing(stated: Any, found: Any, where: str) -> Iterator[str]:
    """Yield where two records differ; floats may in their last digits."""
    if isinstance(stated, dict) and isinstance(found, dict):
        for key in sorted({*stated, *found}):
            yield from _differing(stated.get(key), found.get(key), f"{where}.{key}")
    elif isinstance(stated, list) and isinstance(found, list) and len(stated) == len(found):
        for place, (one, other) in enumerate(zip(stated, found, strict=True)):
            yield from _differing(one, other, f"{where}.{place}")
    elif isinstance(stated, float) and isinstance(found, float):
        if not isclose(stated, found, rel_tol=CLOSE):
            yield where
    elif stated != found or type(stated) is not type(found):
        yield where
