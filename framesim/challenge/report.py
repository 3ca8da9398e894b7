"""What a challenge found."""

from dataclasses import dataclass
from typing import Any

from framesim import __version__
from framesim.challenge.case import Case
from framesim.challenge.expected import Expected
from framesim.challenge.protocol import flat_frame
from framesim.networks.frame_options import frame_options
from framesim.networks.registry import base_name

__all__ = ["Finding", "Report"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One rule broken.

    Attributes:
        rule: what the codec does, in words.
        where: what the failing cases have in common that the passing ones lack, in words; empty if nothing was found.
        count: how many cases broke it.
        case: the simplest one; None where it concerns the run as a whole.
        want: the right answer to it.
        got: the codec's answer, or what it did instead.
        origin: the first case that broke it: where it came from.
    """

    rule: str
    where: str = ""
    count: int = 1
    case: Case | None = None
    want: Expected | None = None
    got: dict[str, Any] | str | None = None
    origin: str = ""

    def replay(self) -> str:
        """Return the command that shows the right answer; empty where the finding has no case."""
        if self.case is None:
            return ""
        if self.case.mode == "decode":
            return f"framesim decode {self.case.network} {self.case.bits or chr(34) * 2}"
        return f"framesim encode {base_name(self.case.network)} {' '.join(frame_options(self.case.frame))}"

    def record(self) -> dict[str, Any]:
        """Return it as JSON holds it."""
        case: dict[str, Any] = {}
        if self.case is not None:
            case = {"mode": self.case.mode, "network": self.case.network}
            if self.case.mode == "decode":
                case["bits"] = self.case.bits
                if self.case.recipe is not None:
                    case["flips"] = list(self.case.recipe.flips)
            if self.case.frame is not None:
                case["frame"] = flat_frame(self.case.frame)
        return {
            "rule": self.rule,
            "where": self.where,
            "count": self.count,
            "case": case or None,
            "want": None if self.want is None else self.want.record(),
            "got": self.got,
            "origin": self.origin,
            "replay": self.replay(),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What became of a challenge.

    Attributes:
        network: challenged on.
        mode: decode, encode or both.
        seed: of the random cases.
        asked: cases answered or failed, those asked while shrinking not counted.
        findings: rules broken, the most telling first.
        stopped: why it ended before all cases were asked; empty if it did not.
    """

    network: str
    mode: str
    seed: int
    asked: int
    findings: tuple[Finding, ...]
    stopped: str = ""

    @property
    def clean(self) -> bool:
        """Whether nothing was found and everything was asked."""
        return not self.findings and not self.stopped

    def record(self) -> dict[str, Any]:
        """Return it as JSON holds it."""
        return {
            "network": self.network,
            "mode": self.mode,
            "seed": self.seed,
            "asked": self.asked,
            "stopped": self.stopped,
            "findings": [finding.record() for finding in self.findings],
            "version": __version__,
        }

    def __str__(self) -> str:
        if self.clean:
            return f"{self.network}: {self.asked:,} cases, nothing found"
        rules = len(self.findings)
        lines = [f"{self.network}: {self.asked:,} cases, {rules} {'rule' if rules == 1 else 'rules'} broken"]
        for finding in self.findings:
            times = f"{finding.count:,} {'case' if finding.count == 1 else 'cases'}"
            lines.append(f"- {finding.rule}{f', {finding.where}' if finding.where else ''} ({times})")
            if finding.case is not None:
                lines.append(f"  {finding.replay()}")
        return "\n".join([*lines, *([f"stopped: {self.stopped}"] if self.stopped else [])])
