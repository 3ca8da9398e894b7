"""Which campaign a unit belongs to: a hash of everything that its result depends on."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from framesim import __version__
from framesim.coverage.campaign.work import Work
from framesim.errors import BadArgument, check_range

__all__ = ["Campaign", "campaign_of", "canonical", "work_hash"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Campaign:
    """What a campaign is: enough to read its units without the work itself.

    Attributes:
        hash: of the work and of what computes it; 64 hex digits.
        seed: of every random draw.
        title: one line for people.
        notes: what a reader must know before quoting a figure.
        columns: names of the cases that are counted apart.
        frames_per_unit: in each column.
        work: what was hashed.
    """

    hash: str
    seed: int
    title: str
    notes: tuple[str, ...]
    columns: tuple[str, ...]
    frames_per_unit: int
    work: Mapping[str, Any]


def campaign_of(work: Work, seed: int) -> Campaign:
    """Return the identity of a work under a seed.

    Raises:
        BadArgument: the seed is out of range, or the work describes itself in what JSON cannot hold.
    """
    check_range("seed", seed, 0, 2**63 - 1, base="d")
    return Campaign(
        hash=work_hash(work),
        seed=seed,
        title=work.title,
        notes=tuple(work.notes),
        columns=tuple(work.columns),
        frames_per_unit=work.frames_per_unit,
        work=json.loads(canonical(_hashed(work))),
    )


def work_hash(work: Work) -> str:
    """Return the SHA-256 of the work's canonical description, 64 hex digits.

    Raises:
        BadArgument: the work describes itself in what JSON cannot hold.
    """
    return hashlib.sha256(canonical(_hashed(work)).encode()).hexdigest()


def canonical(record: Mapping[str, Any]) -> str:
    """Return the one JSON text of a record: keys sorted, no blanks, ASCII.

    Raises:
        BadArgument: a value that JSON cannot hold.
    """
    try:
        return json.dumps(record, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    except (TypeError, ValueError) as error:
        raise BadArgument(f"record={record!r}: JSON cannot hold it ({error})") from None


def _hashed(work: Work) -> dict[str, Any]:
    return {"computed_by": _computed_by(), **work.describe()}


@cache
def _computed_by() -> Mapping[str, str]:
    """Return versions: a seed's numbers may change with any release of framesim, a minor one of numpy (its NEP 19)."""
    import numpy as np  # every work draws with it, so it costs nothing here

    return {"framesim": __version__, "numpy": ".".join(np.__version__.split(".")[:2])}
