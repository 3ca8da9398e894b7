"""The repository's vectors as cases: packed into the wheel, read from ``vectors/`` in a checkout."""

import json
from functools import lru_cache
from pathlib import Path
from typing import Any, get_type_hints

from framesim.challenge.case import Case, Recipe, sent_by
from framesim.networks.registry import network as network_called

__all__ = ["vector_cases"]

_PACKAGE = Path(__file__).resolve().parents[1]
FOLDERS = (_PACKAGE / "vectors", _PACKAGE.parent / "vectors")  #: in an installed package, and in a checkout


@lru_cache(maxsize=16)
def vector_cases(network: str, mode: str) -> tuple[Case, ...]:
    """Return the cases of one network's vectors; none if there is no file for it."""
    name = f"{network.replace('-', '_')}.json"
    file = next((folder / name for folder in FOLDERS if (folder / name).is_file()), None)
    if file is None:
        return ()
    document = json.loads(file.read_text(encoding="utf-8"))
    listed = [case for group in document["groups"] for case in group["cases"]]
    if mode == "encode":
        listed = [case for case in listed if "spans" in case]
    return tuple(_case(network, mode, case) for case in listed)


def _case(network: str, mode: str, vector: dict[str, Any]) -> Case:
    origin = f"vector {vector['id']}: {vector['comment']}"
    recipe = None
    if vector["frame"] is not None and ("spans" in vector or "flips" in vector):
        frame = _frame(network, vector["frame"])
        sent = len(sent_by(network, frame))
        tail = vector["wire"][sent:]
        keep = None if len(vector["wire"]) >= sent else len(vector["wire"])
        recipe = Recipe(frame=frame, flips=_within(vector.get("flips", ()), sent), keep=keep, tail=tail)
    return Case(
        mode=mode,
        network=network,
        bits=vector["wire"] if mode == "decode" else "",
        recipe=recipe,
        origin=origin,
    )


def _within(flips: Any, n_bits: int) -> tuple[int, ...]:
    return tuple(flip for flip in flips if flip < n_bits)


def _frame(network: str, data: dict[str, Any]) -> Any:
    """Build a frame from a vector's fields; the frame type's annotations say which text is bytes."""
    frame_type = network_called(network).frame_type
    hints = get_type_hints(frame_type)
    return frame_type(
        **{
            key: bytes.fromhex(value) if hints[key] is bytes else tuple(value) if isinstance(value, list) else value
            for key, value in data.items()
        }
    )
