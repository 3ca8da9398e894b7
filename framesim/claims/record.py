"""What was found about all claims of a file, ready for JSON."""

import json
from dataclasses import asdict, dataclass
from hashlib import sha256
from typing import Any

from framesim import __version__
from framesim.claims.claim import Claim, ClaimsFile
from framesim.claims.finding import Finding, Meets, Verdict

__all__ = ["FORMAT", "STANDING", "ClaimsReport"]

FORMAT = 1  #: of the JSON; goes up when a key changes its meaning

STANDING = (
    "These findings are evidence for people who judge a design; they certify nothing and replace no safety case, no "
    "EMC test and no assessment. 'Proven' means: within the model of docs/networks, over what the finding names."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimsReport:
    """Claims and what was found about each.

    Attributes:
        claims: the file.
        findings: one a claim, in its order.
        partial: the run was interrupted; claims not reached are open.
    """

    claims: ClaimsFile
    findings: tuple[Finding, ...]
    partial: bool = False

    @property
    def within(self) -> bool:
        """Whether every claim is proven, or bounded within what it says."""
        return all(finding.meets is Meets.YES for finding in self.findings)

    def count(self, verdict: Verdict) -> int:
        """Return how many claims have a verdict."""
        return sum(finding.verdict is verdict for finding in self.findings)

    def record(self) -> dict[str, Any]:
        """Return the report as JSON can hold it; the same for the same claims, seed and version."""
        claims = self.claims
        return {
            "format": FORMAT,
            "title": claims.title,
            "note": claims.note,
            "version": __version__,
            "seed": claims.seed,
            "confidence": claims.confidence,
            "budget_s": claims.budget_s,
            "claims_sha256": sha256(claims.source.encode()).hexdigest(),
            "partial": self.partial,
            "standing": STANDING,
            "summary": {
                **{verdict.value: self.count(verdict) for verdict in Verdict},
                "within": self.within,
            },
            "claims": [_claim(*pair) for pair in zip(claims.claims, self.findings, strict=True)],
        }

    def to_json(self) -> str:
        """Return the record as JSON text."""
        return json.dumps(self.record(), indent=2, ensure_ascii=True, allow_nan=False)


def _claim(claim: Claim, finding: Finding) -> dict[str, Any]:
    return {
        "id": claim.name,
        "text": claim.text,
        "subject": claim.subject.describe(),
        "asserts": {"kind": claim.kind, **asdict(claim.asserts)},
        "disturbance": None if claim.channel is None else claim.channel.describe(),
        **finding.describe(),
    }
