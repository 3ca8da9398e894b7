"""The manifest of an evidence folder: whether the files are those that it lists, and no others."""

import json
from pathlib import Path
from typing import Any

from framesim.claims.evidence import CLAIMS, FINDINGS, MANIFEST, PAGE, RUN, digest_of, dumped, hash_of

__all__ = ["examined"]

LARGEST = 64_000_000  # bytes of a file


def examined(place: Path) -> tuple[dict[str, Any], list[str]]:
    """Return the manifest, and what is wrong with it, with a file it names, or with one it does not."""
    try:
        text = (place / MANIFEST).read_bytes()
        manifest = json.loads(text)
        files, digest = dict(manifest["files"]), manifest["digest"]
        canonical = {"format": 1, "digest": digest, "files": files, "outside_the_digest": [RUN]}
        if dumped(canonical).encode() != text:
            return {}, [f"{MANIFEST}: not as it was written"]
        if digest_of(files) != digest:
            return manifest, [f"{MANIFEST}: the digest does not belong to the files listed"]
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return {}, [f"{MANIFEST}: cannot be read as a manifest"]
    problems = [problem for name, stated in files.items() if (problem := _file(place, name, stated))]
    problems += [f"{name}: not listed in the manifest" for name in (CLAIMS, FINDINGS, PAGE) if name not in files]
    known = {*files, RUN, MANIFEST}
    present = sorted(path.relative_to(place).as_posix() for path in place.rglob("*") if not path.is_dir())
    problems += [f"{name}: does not belong to the evidence" for name in present if name not in known]
    return manifest, problems + _run(place, digest)


def _file(place: Path, name: str, stated: object) -> str:
    if not isinstance(name, str) or name.startswith("/") or ".." in Path(name).parts:
        return f"{name}: lies outside the folder"
    path = place / name
    try:
        if path.stat().st_size > LARGEST:
            return f"{name}: larger than any file of evidence"
        found = hash_of(path.read_bytes())
    except OSError as error:
        return f"{name}: cannot be read ({error.strerror or error})"
    return "" if found == stated else f"{name}: changed since the manifest was written"


def _run(place: Path, digest: str) -> list[str]:
    """Return what is wrong with the file on time and machine: it vouches for itself alone."""
    try:
        text = (place / RUN).read_bytes()
        run = json.loads(text)
        own = hash_of(dumped(run["made"]).encode())
        canonical = {"digest": digest, "made": run["made"], "own_sha256": own}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return [f"{RUN}: cannot be read as a record of the run"]
    return [] if dumped(canonical).encode() == text else [f"{RUN}: changed since it was written"]
