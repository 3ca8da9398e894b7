"""The evidence folder: claims, findings, counterexamples, a page; and a manifest that ties them together.

``run.json`` says when and where; it is no part of the digest, so the same claims give the same digest anywhere.
Hashes show that nothing was changed by accident; they are no signature. Whoever doubts the author verifies: that
repeats the work.
"""

import json
import os
import platform
from datetime import UTC, datetime
from hashlib import sha256
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from framesim import __version__
from framesim.claims.record import ClaimsReport
from framesim.claims.vectors import vector_files
from framesim.errors import BadInput

__all__ = [
    "CLAIMS",
    "FINDINGS",
    "MANIFEST",
    "PAGE",
    "RUN",
    "digest_of",
    "dumped",
    "evidence_files",
    "expect_free",
    "hash_of",
    "libraries",
    "write_evidence",
]

CLAIMS, FINDINGS, PAGE, RUN, MANIFEST = "claims.toml", "evidence.json", "report.html", "run.json", "manifest.json"
LIBRARIES = ("numpy", "scipy", "mpmath", "numba", "bitarray")  # those that can change a figure


def evidence_files(report: ClaimsReport, page: str) -> dict[str, str]:
    """Return name → text of all files of the digest: the same for the same claims, seed and versions."""
    files = {
        CLAIMS: report.claims.source,
        FINDINGS: report.to_json() + "\n",
        PAGE: page,
    }
    for network, document in vector_files(report).items():
        files[f"vectors/{network.replace('-', '_')}.json"] = dumped(document)
    return dict(sorted(files.items()))


def dumped(record: Any) -> str:
    """Return a record as the one text that stands for it in the folder."""
    return json.dumps(record, indent=2, ensure_ascii=True, allow_nan=False) + "\n"


def hash_of(content: bytes) -> str:
    """Return the SHA-256 of a file's content, in hex."""
    return sha256(content).hexdigest()


def digest_of(files: dict[str, str]) -> str:
    """Return one hash over name → hash: the name of the evidence as a whole."""
    return sha256("".join(f"{digest}  {name}\n" for name, digest in sorted(files.items())).encode()).hexdigest()


def libraries() -> dict[str, str]:
    """Return the versions of what computed."""
    found = {"framesim": __version__, "python": platform.python_version()}
    for name in LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            continue
    return found


def expect_free(folder: str) -> Path:
    """Return the folder that may be written into.

    Raises:
        BadInput: there is something already, or it is no folder.
    """
    if not folder:
        raise BadInput("evidence='': expected the name of a folder, new or empty")
    place = Path(folder)
    try:
        taken = place.exists() and (not place.is_dir() or any(place.iterdir()))
    except (OSError, ValueError) as error:
        raise BadInput(f"{folder}: cannot be used as a folder ({error})") from None
    if taken:
        raise BadInput(f"{folder}: is there already and not empty; expected a new or an empty folder")
    return place


def write_evidence(folder: str, report: ClaimsReport, *, page: str) -> str:
    """Write the folder; return its digest.

    Args:
        folder: new or empty.
        report: the findings.
        page: the report as a page.

    Raises:
        BadInput: the folder is not empty, or cannot be written.
    """
    place = expect_free(folder)
    files = evidence_files(report, page)
    hashes = {name: hash_of(text.encode()) for name, text in files.items()}
    digest = digest_of(hashes)
    made = {"at": datetime.now(UTC).isoformat(timespec="seconds"), "machine": _machine(), "versions": libraries()}
    run = {"digest": digest, "made": made, "own_sha256": hash_of(dumped(made).encode())}
    manifest = {"format": 1, "digest": digest, "files": hashes, "outside_the_digest": [RUN]}
    try:
        place.mkdir(parents=True, exist_ok=True)
        for name, text in {**files, RUN: dumped(run), MANIFEST: dumped(manifest)}.items():
            target = place / name
            target.parent.mkdir(exist_ok=True)
            target.write_bytes(text.encode())
    except OSError as error:
        raise BadInput(f"{folder}: cannot be written ({error.strerror or error})") from None
    return digest


def _machine() -> dict[str, Any]:
    return {"system": platform.platform(), "processor": platform.machine(), "processors": os.cpu_count()}
