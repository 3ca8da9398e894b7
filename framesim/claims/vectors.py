"""Counterexamples as vectors for any decoder: one file a network, in the format of ``vectors/README.md``."""

from typing import Any

from framesim.claims.counterexample import Counterexample
from framesim.claims.record import ClaimsReport
from framesim.plain import frame_fields

__all__ = ["SOURCES", "vector_files"]

#: network → key of vectors/sources.json: where its rules stand
SOURCES = {
    "can": "can20b",
    "can-fd": "iso11898-1",
    "can-fd-original": "can-fd-1-0",
    "can-xl": "iso11898-1-2024",
    "ethernet": "ieee8023",
    "flexray": "flexray301",
    "flexray-b": "flexray301",
    "flexray-b-dynamic": "flexray301",
    "flexray-dynamic": "flexray301",
    "lin": "lin21",
    "sent": "saej2716",
}
NOTE = {
    "Counterexample": {
        "kind": "RESIDUAL",
        "meaning": "these flips refute a claim: a receiver that follows the standard accepts another frame than was "
        "sent",
        "if_you_fail": "a wire is refused that the standard's checks cannot tell from a good one",
    }
}


def vector_files(report: ClaimsReport) -> dict[str, dict[str, Any]]:
    """Return network → document, for networks with a counterexample."""
    cases: dict[str, list[dict[str, Any]]] = {}
    for claim, finding in zip(report.claims.claims, report.findings, strict=True):
        example = finding.counterexample
        if example is not None and example.kind == "frame":
            rows = cases.setdefault(example.network, [])
            rows.append(_case(len(rows) + 1, claim.name, example))
    return {network: _document(network, rows) for network, rows in sorted(cases.items())}


def _document(network: str, cases: list[dict[str, Any]]) -> dict[str, Any]:
    checker = f"made/check_{network.replace('-', '_')}.py"
    source = {"id": "counterexamples", "cite": f"sources.json#{SOURCES[network]}", "checked_by": checker}
    return {
        "schema": "frame_vectors.schema.json",
        "network": network,
        "count": len(cases),
        "notes": NOTE,
        "groups": [{"source": source, "cases": cases}],
    }


def _case(number: int, name: str, example: Counterexample) -> dict[str, Any]:
    return {
        "id": number,
        "comment": f"refutes claim {name}: bits {', '.join(map(str, example.flips))} inverted",
        "flags": ["Counterexample"],
        "frame": frame_fields(example.sent),
        "wire": example.wire,
        "flips": list(example.flips),
        "received": frame_fields(example.accepted),
        "expect": "accepted",
        "check": None,
        "at": None,
    }
